"""Results as plain data for scripts: the JSON objects of `--json`, in the trade's units.

Keys keep their names and meaning from version to version; new ones may be added.
"""

from balancer.contract.basics import (
    checks_json,
    correction_json,
    findings_json,
    measurements_json,
    ports_json,
    solution_json,
    status_json,
    understood_json,
)

__all__ = [
    "checks_json",
    "correction_json",
    "findings_json",
    "measurements_json",
    "ports_json",
    "solution_json",
    "status_json",
    "understood_json",
]
