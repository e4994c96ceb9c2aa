"""Pictures, figures and the report."""

from fem.telling.report import tell as tell
from fem.telling.report import write_report as write_report
