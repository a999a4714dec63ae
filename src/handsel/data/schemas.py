"""The published JSON Schema of each file format, made from the classes that check the files."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from handsel.data.assessment_tables import AssessmentsTable
from handsel.data.case_tables import CaseTables
from handsel.data.day_plan_tables import DayPlanTable
from handsel.data.day_tables import DayTables
from handsel.data.design_tables import DesignTables
from handsel.data.diagnosis_tables import DiagnosisTable
from handsel.data.fault_tables import FaultTables
from handsel.data.figure_tables import DetailsFile, FiguresFile
from handsel.data.hand_plan_tables import HandPlanTable
from handsel.data.load_actions import ActionsFile
from handsel.data.load_confirmed import ConfirmedFile
from handsel.data.load_hand_over import HandOverTables
from handsel.data.load_labels import LabelTable
from handsel.data.load_steps import StepsTables
from handsel.data.places import near, shown_plain
from handsel.data.protocol_tables import ProtocolTables
from handsel.errors import HandselError

# One line for each format; the schema needs nothing else.
FORMATS: dict[str, type[BaseModel]] = {
    "design": DesignTables,
    "protocol": ProtocolTables,
    "case": CaseTables,
    "assessment": AssessmentsTable,
    "confirmed": ConfirmedFile,
    "day": DayTables,
    "day-plan": DayPlanTable,
    "hand-plan": HandPlanTable,
    "actions": ActionsFile,
    "faults": FaultTables,
    "diagnosis": DiagnosisTable,
    "labels": LabelTable,
    "hand-over": HandOverTables,
    "steps": StepsTables,
    "figures": FiguresFile,
    "details": DetailsFile,
}


def schema(name: str) -> dict[str, Any]:
    """The JSON Schema of one format, with meaning and unit of every key.

    What tables must be to one another (a route over bodies that exist) cannot be said in a schema;
    loading the file checks that too.

    Parameters: name, a key of FORMATS.
    Returns: dict, ready to be written as JSON.
    Raises: HandselError when there is no such format, naming those that there are.
    Valid for: JSON Schema draft 2020-12.    Source: https://json-schema.org/draft/2020-12/schema
    Checked by: unit/test_schemas.py
    """
    if name not in FORMATS:
        what = f'there is no schema called "{shown_plain(name[:60])}"'
        raise HandselError(what, where="schema", do=near(name, FORMATS))
    made = FORMATS[name].model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}
