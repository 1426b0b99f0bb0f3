"""Machines and schedules that faults strike."""
