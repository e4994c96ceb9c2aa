"""Pictures, figures and the report."""
