"""session.toml -> Session; every fault with its line."""

from fairhearing.manifest.criteria import REQUIREMENT_WORDS
from fairhearing.manifest.find import MANIFEST_NAME, find_session_folders, is_session_folder
from fairhearing.manifest.load import LoadedSession, load_session
from fairhearing.manifest.states import state_warnings

__all__ = [
    "MANIFEST_NAME",
    "REQUIREMENT_WORDS",
    "LoadedSession",
    "find_session_folders",
    "is_session_folder",
    "load_session",
    "state_warnings",
]
