"""The version of the plug-in interface, and whether one that a plug-in states it needs is offered."""

from __future__ import annotations

import re

# MAJOR.MINOR. The minor is raised when something is added, the major when something is taken away or changed.
API_VERSION = "1.0"
STATED_AS = "NEEDS_API"
_FORM = re.compile(r"(0|[1-9][0-9]{0,3})\.(0|[1-9][0-9]{0,3})")


def version_parts(version: object) -> tuple[int, int]:
    """Major and minor of a version of the plug-in interface.

    Parameters
    ----------
    version : str
        MAJOR.MINOR, such as "1.0".

    Raises
    ------
    ValueError
        It is not written so.

    Examples
    --------
    >>> version_parts("1.12")
    (1, 12)
    """
    parts = _FORM.fullmatch(version) if isinstance(version, str) else None
    if parts is None:
        raise ValueError(f"{version!r} is no version of the plug-in interface: it is written {API_VERSION!r}")
    return int(parts[1]), int(parts[2])


def unmet_need(needed: object, offered: str = API_VERSION) -> str | None:
    """Why a plug-in that needs an interface cannot be used with the one offered; None if it can.

    The same major, and a minor that is not later, is offered.

    Parameters
    ----------
    needed, offered : str
        MAJOR.MINOR.

    Raises
    ------
    ValueError
        One of them is not written so.

    Examples
    --------
    >>> unmet_need("1.3", offered="1.0")
    'needs plug-in interface 1.3; this fairhearing offers 1.0'
    >>> unmet_need("1.0", offered="1.3") is None
    True
    """
    major, minor = version_parts(needed)
    ours, our_minor = version_parts(offered)
    if major == ours and minor <= our_minor:
        return None
    return f"needs plug-in interface {needed}; this fairhearing offers {offered}"


def is_later(needed: str, offered: str = API_VERSION) -> bool:
    """Whether the interface that is needed came after the one offered: then fairhearing is what to update.

    Examples
    --------
    >>> is_later("1.3", offered="1.0"), is_later("0.9", offered="1.0")
    (True, False)
    """
    return version_parts(needed) > version_parts(offered)
