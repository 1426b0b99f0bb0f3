"""The verdict: one function a check, from a recording, a table and a welder to findings."""

from sim.verdict.finding import Finding, Severity, Verdict, judged

__all__ = ["Finding", "Severity", "Verdict", "judged"]
