"""The MIB objects that the agent of one site reads: those of mibs/ and the columns of its settings."""

from __future__ import annotations

from portdraw.observation.record import Basis, Quantity
from portdraw.plan.plan_error import PlanError, Problem
from portdraw.reading.catalogue import Catalogue, MibObject, standard_catalogue
from portdraw.service.column_settings import PrivateColumn
from portdraw.service.settings import LoadedSettings

_SCALES = {"W": 1.0, "0.1 W": 0.1, "0.01 W": 0.01, "mW": 0.001, "W as text": 1.0}


def site_catalogue(loaded: LoadedSettings) -> Catalogue:
    """Return the catalogue of a site. Raises PlanError with the place of a column whose name is taken."""
    known = standard_catalogue()
    columns: dict[str, MibObject] = {}
    problems: list[Problem] = []
    for at, column in enumerate(loaded.settings.columns):
        if column.name in known.objects or column.name in columns:
            line, mark = loaded.mark("columns", at, "name")
            where = "mibs/" if column.name in known.objects else "this list"
            sentence = f"{column.name!r} is the name of another column of {where}"
            problems.append(Problem(line, mark, f"columns[{at + 1}].name", sentence))
        columns[column.name] = _object(column)
    if problems:
        raise PlanError(str(loaded.path), problems)
    return known.with_site_columns(columns)


def _object(column: PrivateColumn) -> MibObject:
    return MibObject(
        oid=column.oid,
        index=column.index,
        quantity=Quantity.PORT_DRAW,
        syntax="decimal-text" if column.unit == "W as text" else "integer",
        unit="W",
        scale=_SCALES[column.unit],
        basis=Basis(column.basis),
        system=column.system_object_id or "",
        source=column.source,
    )
