"""`records.sqlite`, next to welder.toml: welds, schedules sent to boards, trials on scrap, commissioning.

`with Records.beside(welder_path) as records: records.welds()`. `values` says what a row may hold, `tables` how the file
grew from version to version, `store` reads and writes it.
"""

from gen.records.store import RECORDS_FILE, Records
from gen.records.values import CheckRecord, GateRecord, KeptRecord, TrialRecord, WeldRecord

__all__ = ["RECORDS_FILE", "CheckRecord", "GateRecord", "KeptRecord", "Records", "TrialRecord", "WeldRecord"]
