"""Whatever happens in a command ends in one line and the right status, on any terminal."""

import io
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from fem.cli import main
from fem.cli.console import ruled, screen
from fem.cli.guard import ENDED, STOPPED, guarded
from fem.errors import CardError, InputError
from fem.fault import FILE, write_fault
from fem.printing.polymer import load_card
from fem.study.file import read_study

ROOT = Path(__file__).resolve().parents[1]
PLA = (ROOT / "fem" / "cards" / "pla.toml").read_text(encoding="utf-8")
BRACKET = (ROOT / "studies" / "cantilever_bracket.toml").read_text(encoding="utf-8")


def raising(error):
    def command():
        raise error

    return command


def lines(capsys):
    return capsys.readouterr().err.splitlines()


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (InputError("wrong."), 2, "beadwork: wrong."),
        (MemoryError(), 4, "memory ran out"),
        (OSError(12, "Cannot allocate memory"), 4, "memory ran out"),
        (RuntimeError("can't start new thread"), 4, "memory ran out"),
        (ImportError("libany.so: failed to map segment from shared object"), 4, "memory ran out"),
        (KeyboardInterrupt(), STOPPED, "earlier results are as they were"),
        (KeyboardInterrupt("they are new"), STOPPED, "stopped; they are new."),
        (OSError(28, "No space left on device"), 2, "a file or standard output: No space left on device"),
        (OSError(13, "Permission denied", "a\x1b[31m\nb"), 2, "a\\x1b[31m\\nb: Permission denied"),
        (OSError(13, "Permission denied", b"\xff"), 2, "\\udcff: Permission denied"),
    ],
)
def test_named_failures_are_one_line(capsys, error, status, words):
    assert guarded(raising(error)) == status
    told = lines(capsys)
    assert len(told) == 1
    assert words in told[0]


def test_any_other_is_a_fault_with_a_file_to_send(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert guarded(raising(ZeroDivisionError("in\nthe \x1b[31m kernel"))) == 1
    told = lines(capsys)
    assert len(told) == 1
    assert "ZeroDivisionError: in the \\x1b[31m kernel" in told[0]
    assert str(tmp_path / FILE) in told[0]
    text = (tmp_path / FILE).read_text()
    assert "Traceback" in text and "in command" in text
    assert "beadwork 0" in text and "numpy" in text and sys.argv[0] in text
    assert "\x1b" not in text


def test_the_file_goes_elsewhere_where_the_folder_takes_none(tmp_path, monkeypatch):
    (tmp_path / FILE).mkdir()
    (tmp_path / "t").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "t"))
    path = write_fault(ValueError("x"))
    assert path.parent == tmp_path / "t"
    assert "ValueError: x" in path.read_text()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "nowhere"))
    assert write_fault(ValueError("x")) is None


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_the_signals_that_end_clean_up_first(capsys, number):
    before, cleaned = signal.getsignal(number), []

    def command():
        try:
            os.kill(os.getpid(), number)
            time.sleep(5)
        finally:
            cleaned.append(True)
        return 0

    assert guarded(command) == ENDED
    assert cleaned == [True]
    assert "stopped" in lines(capsys)[0]
    assert signal.getsignal(number) == before


def test_warnings_of_libraries_stay_inside(capsys):
    import logging
    import warnings

    def command():
        warnings.warn("of numbers", RuntimeWarning, stacklevel=1)
        logging.getLogger("a.library").warning("of files")
        return 0

    assert guarded(command) == 0
    assert lines(capsys) == []


def test_no_text_is_read_as_markup_or_reaches_the_terminal_as_a_command(capsys):
    evil = "x[bold]y[/nope] :smile: \x1b[31m\u202e"
    screen().print(ruled(evil, [evil], [[evil]]))
    screen().print(evil)
    out = capsys.readouterr().out
    assert out.count("x[bold]y[/nope] :smile: \\x1b[31m\\u202e") == 4


def test_a_bar_takes_any_name(monkeypatch):
    from fem.cli import console

    made, real = io.StringIO(), console._console
    monkeypatch.setattr(console, "_console", lambda **_: real(file=made, force_terminal=True, width=100))
    with console.progress() as say:
        say("variant [/nope] \x1b[31m", 0.5)
    assert "variant [/nope] \\x1b[31m" in made.getvalue()


# ---- as a process


def beadwork(*arguments, **more):
    command = [sys.executable, "-m", "fem.cli", *arguments]
    return subprocess.run(command, **{"capture_output": True, "timeout": 60, **more})


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437"])
def test_a_terminal_of_any_encoding_shows_the_cards(encoding):
    done = beadwork("cards", "pla", env={**os.environ, "PYTHONIOENCODING": encoding, "LANG": "C"})
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"g/cm3" in done.stdout.replace("³".encode("latin-1"), b"3")


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
@pytest.mark.parametrize(
    ("shell", "status", "said"),
    [
        ("cards | head -1 >/dev/null; exit ${PIPESTATUS[0]}", 0, ""),
        ("--help | true; exit ${PIPESTATUS[0]}", 0, ""),
        ("cards pla >&-", 0, ""),
        ("cards pla 2>&- >/dev/null", 0, ""),
        ("cards pla >/dev/full", 2, "standard output: No space left on device"),
        ("cards $'\\x1b[31m/\\xff.toml'", 2, "there is no such card file"),
        ("nonsense$'\\x1b[31m'", 2, "invalid choice"),
    ],
)
def test_streams_that_are_closed_full_or_odd(shell, status, said):
    if "/dev/full" in shell and not Path("/dev/full").exists():
        pytest.skip("this system has no such device")
    line = f"{sys.executable} -m fem.cli {shell}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, timeout=60)
    assert done.returncode == status
    err = done.stderr.decode()
    assert "Traceback" not in err and "Exception ignored" not in err and "\x1b" not in err
    assert said in err if said else err == ""


def test_a_stop_from_outside_leaves_nothing(tmp_path):
    study = tmp_path / "s.toml"
    study.write_text(BRACKET.replace("../meshes", str(ROOT / "meshes")))
    command = [sys.executable, "-m", "fem.cli", "run", str(study), "--out", str(tmp_path / "out")]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, cwd=tmp_path) as run:
        while "mesh" not in run.stderr.readline():
            pass
        run.terminate()
        rest = run.stderr.read().splitlines()
        assert run.wait(timeout=20) == ENDED
    assert rest[-1] == "beadwork: stopped; earlier results are as they were."
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s.toml"]


# ---- texts and paths that are none

NESTED = "a = " + "[" * 1500 + "]" * 1500 + "\n"
DIGITS = "a = " + "9" * 5000 + "\n"


@pytest.mark.parametrize(("text", "words"), [(NESTED, "nested too deep|without end"), (DIGITS, "4300 digits")])
def test_texts_that_no_reader_takes(tmp_path, text, words):
    with pytest.raises((RecursionError, ValueError)):
        tomllib.loads(text)
    (tmp_path / "s.toml").write_text(text + BRACKET)
    (tmp_path / "c.toml").write_text(text + PLA)
    with pytest.raises(InputError, match=words):
        read_study(tmp_path / "s.toml")
    with pytest.raises(CardError, match=words):
        load_card(tmp_path / "c.toml")


@pytest.mark.parametrize("name", ["~nouser/x.toml", "a\\u0000/x.toml", "loop/x.toml"])
def test_paths_of_cards_that_are_none(tmp_path, capsys, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "loop").symlink_to("loop")
    text = BRACKET.replace("../meshes", str(ROOT / "meshes")).replace('"pa12-cf"', f'"{name}"')
    (tmp_path / "s.toml").write_text(text)
    assert main(["check", str(tmp_path / "s.toml")]) == 2
    assert "there is no such card file" in lines(capsys)[-1]
    plain = name.replace("\\u0000", "\0")
    assert main(["cards", plain]) == 2
    assert main(["faces", plain.replace("toml", "step")]) == 2
    assert main(["check", plain]) == 2
    assert not (tmp_path / FILE).exists()


@pytest.mark.parametrize("kind", ["folder", "pipe", "nul"])
def test_a_picture_takes_the_place_of_files_alone(tmp_path, capsys, kind):
    place = tmp_path / ("a\0.png" if kind == "nul" else "a.png")
    if kind == "folder":
        place.mkdir()
    elif kind == "pipe":
        os.mkfifo(place)
    solid = str(ROOT / "meshes" / "cantilever_bracket.stl")
    assert main(["faces", solid, "--unit", "mm", "--picture", str(place)]) == 2
    assert "place" in lines(capsys)[-1]
    assert not place.is_file()
