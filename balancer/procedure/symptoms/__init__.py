"""Is it unbalance? What speaks for it, what against it, and what the data cannot tell."""

from balancer.procedure.symptoms.coast import pull_between
from balancer.procedure.symptoms.diagnosis import Symptoms, symptoms
from balancer.procedure.symptoms.mountings import compare_recordings, repeat_symptoms

__all__ = ["Symptoms", "compare_recordings", "pull_between", "repeat_symptoms", "symptoms"]
