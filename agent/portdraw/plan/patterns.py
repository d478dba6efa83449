"""How names, numbers and times are written in our files: as patterns, and in words for errors."""

from __future__ import annotations

NAME = r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$"
FEEDS = r"^[A-Za-z0-9][A-Za-z0-9 ._-]*(/in-[1-9])?$"
TEXT = r"^[^\x00-\x1f\x7f-\x9f]*$"
PORT_KEY = r"^(0|[1-9][0-9]{0,3})(/(0|[1-9][0-9]{0,3})){0,2}$"
SNMP_INDEX = r"^[0-9]{1,9}\.[0-9]{1,9}$"
TIME_OF_DAY = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
_PORT = r"(6553[0-5]|655[0-2][0-9]|65[0-4][0-9]{2}|6[0-4][0-9]{3}|[1-5][0-9]{4}|[1-9][0-9]{0,3})"
# a host, a v6 address in brackets, each with or without a port; a bare v6 address
ADDRESS = (
    rf"^([^:\[\]\s]+(:{_PORT})?|\[[0-9A-Fa-f:.]+(%[^\]\s]+)?\](:{_PORT})?|[0-9A-Fa-f]*:[0-9A-Fa-f]*:[^\[\]\s]*)$"
)
# of the settings file
PLAIN_NAME = r"^[A-Za-z0-9][A-Za-z0-9._-]*$"
HOST_NAME = r"^[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$"
ENVIRONMENT_NAME = r"^[A-Za-z_][A-Za-z0-9_]*$"
BASIC_USER = r"^[^:\x00-\x1f\x7f-\x9f]+$"

# Continues "must be ...".
IN_WORDS: dict[str, str] = {
    NAME: "a name: letters, digits, spaces, dots, hyphens and underscores, beginning with a letter or digit",
    FEEDS: "the name of a unit, or a unit and its input, such as north-pier/in-1",
    TEXT: "a text on one line",
    PORT_KEY: "a printed port number without leading zeros, such as 3, or member and port, such as 2/14",
    SNMP_INDEX: 'group and port as the MIB counts them, in quotes, such as "1.7"',
    PLAIN_NAME: "a name: letters, digits, dots, hyphens and underscores, beginning with a letter or digit",
    HOST_NAME: "a host name without port, such as portdraw.terminal.example",
    ENVIRONMENT_NAME: "the name of an environment variable: letters, digits and underscores, no digit first",
    BASIC_USER: "a user name on one line without a colon",
    ADDRESS: "a host or host:port, its port between 1 and 65535, such as 10.20.0.31 or 10.20.0.31:1161",
    TIME_OF_DAY: 'a time of day in quotes, such as "20:00"',
}
