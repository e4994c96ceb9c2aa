"""Write studies/REFERENCE.md, every key of a study: python studies/write_reference.py"""

from pathlib import Path

from fem.study.reference import reference_page

if __name__ == "__main__":
    Path(__file__).with_name("REFERENCE.md").write_text(reference_page(), encoding="utf-8")
