"""Find the fault: every single fault of a chain simulated once, then weighed by what is read and heard."""

from piezolab.studies.faults.diagnosis import Diagnosis, FaultShare, SpotShare, diagnose, predicted
from piezolab.studies.faults.hearing import FINE, TONES, WORDS
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.next_readings import NextReading
from piezolab.studies.faults.readings import KINDS, Check, Reading, ReadingError
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.instrument import Meter

__all__ = [
    "FINE",
    "KINDS",
    "TONES",
    "WORDS",
    "Check",
    "Diagnosis",
    "FaultShare",
    "FaultTable",
    "Meter",
    "Reading",
    "ReadingError",
    "SpotShare",
    "NextReading",
    "Tone",
    "diagnose",
    "fault_table",
    "predicted",
]
