"""What a reader of a dashboard chooses: data source, site, zone and unit; and the selectors that follow from it."""

from __future__ import annotations

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.models import dashboard as model
from tests.tools.dashboards.panels import DATA_SOURCE

SITE = 'site="$site"'
UNITS = 'site="$site",unit=~"$unit"'  # of the units chosen
ALARMS = 'site="$site",unit=~"$unit|"'  # and of no unit, so that no alarm of the site itself is left out
UNIT = 'site="$site",unit="$unit"'
OF_THE_AGENT = 'and on (job, instance) portdraw_emulated{site="$site"}'  # the agent that watches the site

UNIT_LIST = 'label_values(portdraw_unit_info{site="$site",zone=~"$zone"}, unit)'


def data_source() -> build.DatasourceVariable:
    """Return the choice of the data source that holds the metrics."""
    return (
        build.DatasourceVariable("datasource")
        .label("Data source")
        .description("Where the metrics are kept.")
        .type("prometheus")
    )


def _query(name: str, label: str, says: str, query: str) -> build.QueryVariable:
    return (
        build.QueryVariable(name)
        .label(label)
        .description(says)
        .query(query)
        .datasource(DATA_SOURCE)
        .refresh(model.VariableRefresh.ON_TIME_RANGE_CHANGED)
        .sort(model.VariableSort.ALPHABETICAL_ASC)
    )


def site() -> build.QueryVariable:
    """Return the choice of one site; one that is emulated says so in its name."""
    says = "One site. An emulated one says EMULATED: its figures prove nothing."
    return _query("site", "Site", says, "label_values(portdraw_emulated, site)")


def zone() -> build.QueryVariable:
    """Return the choice of zones; all of them also takes the units that have none."""
    says = "Parts of the site, by the site file. All also shows units without a zone."
    query = 'label_values(portdraw_unit_info{site="$site"}, zone)'
    return _query("zone", "Zone", says, query).multi(True).include_all(True).all_value(".*").current(_all())


def units() -> build.QueryVariable:
    """Return the choice of any units of the zones."""
    return _query("unit", "Unit", "Units of these zones.", UNIT_LIST).multi(True).include_all(True).current(_all())


def one_unit() -> build.QueryVariable:
    """Return the choice of one unit of the zones."""
    return _query("unit", "Unit", "One unit of these zones.", UNIT_LIST)


def _all() -> model.VariableOption:
    return model.VariableOption(selected=True, text="All", value="$__all")
