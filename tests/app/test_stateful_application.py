"""The emitted application under whatever may happen, in any order. tests/campaigns/application.py has more of it."""

from __future__ import annotations

from application_machine import Application
from hypothesis import HealthCheck, settings

TestApplication = Application.TestCase
TestApplication.settings = settings(
    max_examples=50,
    stateful_step_count=25,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
