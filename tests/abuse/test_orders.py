"""Holds, watching, killing and collecting in any order: what was acknowledged is there. See `orders`."""

from hypothesis import HealthCheck, settings

from .orders import Evenings

Evenings.TestCase.settings = settings(
    max_examples=30, stateful_step_count=16, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
TestEvenings = Evenings.TestCase
