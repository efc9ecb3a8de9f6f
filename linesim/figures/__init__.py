"""The closed-form figures by group, cautions and verdicts."""
