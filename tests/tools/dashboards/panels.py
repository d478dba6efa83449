"""The four kinds of panel that the dashboards are made of: table, line chart, band chart and figure.

Each carries a description that says what to do with it. Gaps stay gaps: what is not known is never bridged.
"""

from __future__ import annotations

from dataclasses import dataclass

from grafana_foundation_sdk.builders import common, dashboard, prometheus, stat, statetimeline, table, timeseries
from grafana_foundation_sdk.models import common as look_model
from grafana_foundation_sdk.models import dashboard as model
from grafana_foundation_sdk.models.prometheus import PromQueryFormat
from tests.tools.dashboards import look

DATA_SOURCE = model.DataSourceRef(type_val="prometheus", uid="${datasource}")
UNIT_PAGE = "/d/portdraw-unit?${datasource:queryparam}&${site:queryparam}&var-unit=${__value.raw}"
Size = tuple[int, int]  # width of 24, height


@dataclass(frozen=True)
class Column:
    """One column: `of` is a label, or the letter of a query for its value. `missing` is said where it has none."""

    of: str
    title: str
    unit: str = ""
    decimals: int | None = None
    words: look.Words | None = None
    above: tuple[tuple[float, str], ...] = ()
    missing: str = look.NOT_KNOWN
    width: int | None = None
    opens_unit: bool = False


@dataclass(frozen=True)
class Line:
    """One query of a chart. `dashed` marks a limit, drawn apart from what flows; its legend then names no label."""

    expr: str
    legend: str
    colour: str = ""
    dashed: bool = False


@dataclass(frozen=True)
class Sheet:
    """A table to be made: queries by letter, columns in their order, and the title of the column it is sorted by."""

    title: str
    says: str
    queries: dict[str, str]
    columns: tuple[Column, ...]
    sort: str
    size: Size
    descending: bool = False
    nothing: str = "no row: nothing of this kind, or nothing known. See the age of the news above."


def _query(expr: str, letter: str) -> prometheus.Dataquery:
    return prometheus.Dataquery().expr(" ".join(expr.split())).ref_id(letter)


def sheet_panel(sheet: Sheet) -> table.Panel:
    """Return a table whose rows are label sets, with words for states."""
    alone = len(sheet.queries) == 1
    names = {
        column.of: ("Value" if alone else f"Value #{column.of}") if column.of in sheet.queries else column.of
        for column in sheet.columns
    }
    fields = [names[column.of] for column in sheet.columns]
    panel = (
        table.Panel()
        .title(sheet.title)
        .description(sheet.says)
        .datasource(DATA_SOURCE)
        .span(sheet.size[0])
        .height(sheet.size[1])
        .no_value(sheet.nothing)
        .align(look_model.FieldTextAlignment.AUTO)
        .thresholds(look.steps())
        .cell_height(look_model.TableCellHeight.SM)
        .sort_by([common.TableSortByFieldState().display_name(sheet.sort).desc(sheet.descending)])
        .with_transformation(model.DataTransformerConfig(id_val="merge", options={}))
        .with_transformation(
            model.DataTransformerConfig(id_val="filterFieldsByName", options={"include": {"names": fields}})
        )
        .with_transformation(
            model.DataTransformerConfig(
                id_val="organize",
                options={
                    "indexByName": {name: index for index, name in enumerate(fields)},
                    "renameByName": {names[column.of]: column.title for column in sheet.columns},
                },
            )
        )
    )
    for letter, expr in sheet.queries.items():
        panel = panel.with_target(_query(expr, letter).format(PromQueryFormat.TABLE).instant())
    for column in sheet.columns:
        panel = panel.override_by_name(column.title, _column(column))
    return panel


def _column(column: Column) -> list[model.DynamicConfigValue]:
    found = [model.DynamicConfigValue("mappings", look.mappings(column.words, column.missing))]
    if column.words or column.above:
        found.append(model.DynamicConfigValue("custom.cellOptions", {"type": "color-text"}))
    if column.above:
        found.append(model.DynamicConfigValue("thresholds", look.steps_value(*column.above)))
    if column.unit:
        found.append(model.DynamicConfigValue("unit", column.unit))
    if column.decimals is not None:
        found.append(model.DynamicConfigValue("decimals", column.decimals))
    if column.width is not None:
        found.append(model.DynamicConfigValue("custom.width", column.width))
    if column.opens_unit:
        link = {"title": "both legs and all ports of this unit", "url": UNIT_PAGE}
        found.append(model.DynamicConfigValue("links", [link]))
    return found


def chart(title: str, says: str, lines: tuple[Line, ...], unit: str, size: Size) -> timeseries.Panel:
    """Return a line chart. Gaps are not bridged."""
    panel = (
        timeseries.Panel()
        .title(title)
        .description(says)
        .datasource(DATA_SOURCE)
        .span(size[0])
        .height(size[1])
        .unit(unit)
        .min(0)
        .color_scheme(dashboard.FieldColor().mode(model.FieldColorModeId.SHADES).fixed_color(look.BLUE))
        .line_width(1)
        .fill_opacity(0)
        .span_nulls(False)
        .show_points(look_model.VisibilityMode.NEVER)
        .no_value("nothing known in this time")
        .legend(
            common.VizLegendOptions()
            .display_mode(look_model.LegendDisplayMode.TABLE)
            .placement(look_model.LegendPlacement.BOTTOM)
            .show_legend(True)
            .calcs(["lastNotNull", "max"])
        )
        .tooltip(common.VizTooltipOptions().mode(look_model.TooltipDisplayMode.MULTI))
    )
    for index, line in enumerate(lines):
        panel = panel.with_target(_query(line.expr, chr(ord("A") + index)).legend_format(line.legend).range())
        drawn = []
        if line.colour:
            drawn.append(model.DynamicConfigValue("color", {"mode": "fixed", "fixedColor": line.colour}))
        if line.dashed:
            drawn.append(model.DynamicConfigValue("custom.lineStyle", {"fill": "dash", "dash": [8, 6]}))
        if drawn:
            panel = panel.override_by_name(line.legend, drawn)
    return panel


def bands(title: str, says: str, line: Line, words: look.Words, size: Size) -> statetimeline.Panel:
    """Return bands of states over time, one a row, each with its word in it."""
    return (
        statetimeline.Panel()
        .title(title)
        .description(says)
        .datasource(DATA_SOURCE)
        .span(size[0])
        .height(size[1])
        .mappings(look.mappings(words, look.NOT_KNOWN))
        .thresholds(look.steps())
        .no_value("nothing known in this time")
        .show_value(look_model.VisibilityMode.AUTO)
        .merge_values(True)
        .row_height(0.8)
        .fill_opacity(70)
        .line_width(0)
        .legend(
            common.VizLegendOptions()
            .display_mode(look_model.LegendDisplayMode.LIST)
            .placement(look_model.LegendPlacement.BOTTOM)
            .show_legend(True)
        )
        .with_target(_query(line.expr, "A").legend_format(line.legend).range())
    )


def figures(
    title: str,
    says: str,
    lines: tuple[Line, ...],
    size: Size,
    unit: str = "none",
    words: look.Words | None = None,
    above: tuple[tuple[float, str], ...] = (),
    missing: str = look.NOT_KNOWN,
) -> stat.Panel:
    """Return one figure for each series, its name beside it, or a word where it is a state."""
    panel = (
        stat.Panel()
        .title(title)
        .description(says)
        .datasource(DATA_SOURCE)
        .span(size[0])
        .height(size[1])
        .unit(unit)
        .mappings(look.mappings(words, missing))
        .thresholds(look.steps(*above))
        .no_value(missing)
        .graph_mode(look_model.BigValueGraphMode.NONE)
        .color_mode(look_model.BigValueColorMode.VALUE)
        .text_mode(look_model.BigValueTextMode.VALUE_AND_NAME)
        .justify_mode(look_model.BigValueJustifyMode.CENTER)
        .reduce_options(common.ReduceDataOptions().calcs(["last"]))
    )
    for index, line in enumerate(lines):
        panel = panel.with_target(_query(line.expr, chr(ord("A") + index)).legend_format(line.legend).instant())
    return panel
