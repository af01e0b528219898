"""Seals a plan: one salted SHA-256 over key, criteria and plan, and one for each, so that a change can be named."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import secrets
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from fairhearing.session import PLAN_NAME, SEAL_NAME, Criteria

SEAL_FORMAT = 1
SALT_BYTES = 32
SEALED_KEY_NAME = "key/sealed-key.json"
LOOKS_NAME = "looks.json"
KEY_HEAD = (
    "DO NOT OPEN: the sealed order of a blind listening session. fairhearing unseal opens it when all have answered."
)
_LINE_WIDTH = 76
_MOST_KEY_BYTES = 64_000_000  # far above any session; what unpacks to more was not written by us
SealPart = Literal["key", "criteria", "plan"]
PARTS: tuple[SealPart, ...] = ("key", "criteria", "plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class SealFault:
    """What does not match the seal: `parts` that were changed (all of them where the seal itself was), and the words.

    `file`: where to look, relative to the session folder or to the plan's. `criteria`: which of them were changed.
    """

    parts: tuple[SealPart, ...]
    what: str
    file: str
    criteria: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedKey:
    """What the sealed file holds: the key, and the salt of the commitment."""

    key: Mapping[str, object]
    salt: str


def new_salt() -> str:
    """A salt of 32 bytes from the system's source of randomness, as 64 hexadecimal digits."""
    return secrets.token_hex(SALT_BYTES)


def canonical(value: object) -> bytes:
    """The one way in which a value is written for hashing: JSON, keys sorted, no blanks, ASCII, strict.

    >>> canonical({"b": 1.5, "a": [True, None]})
    b'{"a":[true,null],"b":1.5}'
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False).encode()


def readable(value: object) -> bytes:
    """JSON that a person can read, keys sorted; what is hashed is the canonical form."""
    return (json.dumps(value, indent=1, sort_keys=True, ensure_ascii=True, allow_nan=False) + "\n").encode()


def commit(key: Mapping[str, object], criteria: Mapping[str, object], plan: Mapping[str, object], salt: str) -> str:
    """The commitment: SHA-256 of the canonical JSON of key, criteria, plan and salt, as 64 hexadecimal digits.

    Whoever has it can tell later whether any of the three was changed; nobody can tell the order from it, as the salt
    is not known. FIPS 180-4 for SHA-256, RFC 8259 for JSON.

    Examples
    --------
    >>> commit({"trials": []}, {"alpha": 0.05}, {"n_trials": 16}, "00" * 32)[:16]
    '07e975967ca26344'
    """
    return hashlib.sha256(canonical({"criteria": criteria, "key": key, "plan": plan, "salt": salt})).hexdigest()


def part_hash(part: SealPart, value: Mapping[str, object], salt: str) -> str:
    """The salted SHA-256 of one of the three parts."""
    return hashlib.sha256(canonical({"part": part, "salt": salt, "value": value})).hexdigest()


def criteria_object(criteria: Criteria, session_folder: Path) -> dict[str, object]:
    """All values of [criteria], and of a target in a file the hash of its bytes (None where it can't be read)."""
    values: dict[str, object] = json.loads(canonical(asdict(criteria)))
    if criteria.target != "flat":
        try:
            values["target_sha256"] = hashlib.sha256((session_folder / criteria.target).read_bytes()).hexdigest()
        except OSError:
            values["target_sha256"] = None
    return values


def seal_object(
    key: Mapping[str, object], criteria: Mapping[str, object], plan: Mapping[str, object], salt: str
) -> dict[str, object]:
    """What seal.json holds: the commitment, the hash of each part, and the criteria as they stood."""
    values = {"key": key, "criteria": criteria, "plan": plan}
    return {
        "format": SEAL_FORMAT,
        "commitment": commit(key, criteria, plan, salt),
        "parts": {part: part_hash(part, values[part], salt) for part in PARTS},
        "criteria": dict(criteria),
    }


def grouped(commitment: str) -> str:
    """The commitment in groups of eight, to be read aloud and compared.

    >>> grouped("0123456789abcdef")
    '01234567 89abcdef'
    """
    return " ".join(commitment[start : start + 8] for start in range(0, len(commitment), 8))


def pack_key(sealed: SealedKey) -> bytes:
    """The sealed file: a line that says not to open it, and base64 of the compressed canonical JSON."""
    content = base64.b64encode(zlib.compress(canonical({"key": sealed.key, "salt": sealed.salt}), 9)).decode()
    lines = [content[start : start + _LINE_WIDTH] for start in range(0, len(content), _LINE_WIDTH)]
    return "\n".join([KEY_HEAD, *lines, ""]).encode()


def unpack_key(data: bytes) -> SealedKey:
    """What a sealed file holds.

    Raises
    ------
    ValueError
        It is not what `pack_key` writes.
    """
    head, _, body = data.partition(b"\n")
    if head.strip() != KEY_HEAD.encode():
        raise ValueError("its first line is not that of a sealed key")
    try:
        unpacking = zlib.decompressobj()
        text = unpacking.decompress(base64.b64decode(b"".join(body.split()), validate=True), _MOST_KEY_BYTES)
        value = json.loads(text)
    except (binascii.Error, zlib.error, ValueError, RecursionError) as error:
        raise ValueError("what stands below its first line is damaged") from error
    key, salt = (value.get("key"), value.get("salt")) if isinstance(value, dict) else (None, None)
    if not isinstance(key, dict) or not isinstance(salt, str):
        raise ValueError("it holds no key and no salt")
    return SealedKey(key=key, salt=salt)


def read_object(place: Path) -> dict[str, object]:
    """The JSON object in a file.

    Raises
    ------
    ValueError
        It is missing, cannot be read, or holds none.
    """
    try:
        value = json.loads(place.read_bytes())
    except FileNotFoundError as error:
        raise ValueError("is missing") from error
    except OSError as error:
        raise ValueError(f"cannot be read: {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise ValueError("is not JSON") from error
    if not isinstance(value, dict):
        raise ValueError("is no JSON object")
    return value


def read_key(folder: Path) -> SealedKey:
    """The sealed key in a plan's folder.

    Raises
    ------
    ValueError
        It is missing or damaged.
    """
    try:
        return unpack_key((folder / SEALED_KEY_NAME).read_bytes())
    except FileNotFoundError as error:
        raise ValueError("is missing") from error
    except OSError as error:
        raise ValueError(f"cannot be read: {error.strerror}") from error


def check_seal(folder: Path, criteria: Criteria, session_folder: Path | None = None) -> SealFault | None:
    """What was changed after the seal; None where key, criteria and plan are what was sealed.

    A criterion that a later version knows and the seal does not counts as unchanged where it has its default. Whoever
    makes all files anew makes a seal that holds: then the commitment on the printed pages, which left the room
    before, is another.

    Parameters
    ----------
    folder : Path
        The plan's folder.
    criteria : Criteria
        As session.toml has them now.
    session_folder : Path, optional
        Where a target's file lies; else the folder above.
    """
    try:
        seal = read_object(folder / SEAL_NAME)
        commitment, parts, sealed_criteria = _seal_values(seal)
    except ValueError as error:
        return SealFault(parts=PARTS, what=f"the seal {error}", file=SEAL_NAME)
    try:
        sealed = read_key(folder)
    except ValueError as error:
        return SealFault(
            parts=("key",), what=f"the key was changed after it was sealed: the file {error}", file=SEALED_KEY_NAME
        )
    try:
        plan = read_object(folder / PLAN_NAME)
    except ValueError as error:
        return SealFault(
            parts=("plan",), what=f"the plan was changed after it was sealed: the file {error}", file=PLAN_NAME
        )
    now = _as_sealed(criteria_object(criteria, session_folder or folder.parent), sealed_criteria)
    values: dict[SealPart, Mapping[str, object]] = {"key": sealed.key, "criteria": now, "plan": plan}
    changed = tuple(part for part in PARTS if part_hash(part, values[part], sealed.salt) != parts[part])
    if len(changed) == len(PARTS):  # one salt stands behind all three
        what = "the salt of the seal was changed, or key, criteria and plan all were: nothing can be told from it"
        return SealFault(parts=changed, what=what, file=SEALED_KEY_NAME)
    if changed:
        return _fault(changed, now, sealed_criteria)
    if part_hash("criteria", sealed_criteria, sealed.salt) != parts["criteria"]:
        return SealFault(
            parts=("criteria",), what="the criteria in the seal are not those that were sealed", file=SEAL_NAME
        )
    if commit(sealed.key, now, plan, sealed.salt) != commitment:
        return SealFault(parts=PARTS, what="the commitment is not that of key, criteria and plan", file=SEAL_NAME)
    return None


def check_without_key(folder: Path, criteria: Criteria, session_folder: Path) -> SealFault | None:
    """What can be told of the seal while its key is kept elsewhere: whether the criteria are those written in it.

    Without the salt no hash can be computed: whoever changed the criteria in the seal as well is not found out before
    the key is back.

    Parameters
    ----------
    folder : Path
        The plan's folder.
    criteria : Criteria
        As session.toml has them now.
    session_folder : Path
        Where a target's file lies.
    """
    try:
        _, _, sealed_criteria = _seal_values(read_object(folder / SEAL_NAME))
    except ValueError as error:
        return SealFault(parts=PARTS, what=f"the seal {error}", file=SEAL_NAME)
    now = _as_sealed(criteria_object(criteria, session_folder), sealed_criteria)
    return None if now == sealed_criteria else _fault(("criteria",), now, sealed_criteria)


def _seal_values(seal: Mapping[str, object]) -> tuple[str, Mapping[str, object], Mapping[str, object]]:
    commitment, parts, criteria = seal.get("commitment"), seal.get("parts"), seal.get("criteria")
    if not isinstance(commitment, str) or not isinstance(parts, dict) or not isinstance(criteria, dict):
        raise ValueError("lacks its commitment, its parts or its criteria")
    if set(parts) != set(PARTS):
        raise ValueError(f"has the parts {', '.join(sorted(parts))}, not {', '.join(PARTS)}")
    return commitment, parts, criteria


def _as_sealed(now: dict[str, object], sealed: Mapping[str, object]) -> dict[str, object]:
    """The criteria of today without those that the seal does not know, where they have their default."""
    default = json.loads(canonical(asdict(Criteria())))
    return {key: value for key, value in now.items() if key in sealed or default.get(key, ...) != value}


def _fault(changed: tuple[SealPart, ...], now: Mapping[str, object], sealed: Mapping[str, object]) -> SealFault:
    files = {"key": SEALED_KEY_NAME, "criteria": "session.toml", "plan": PLAN_NAME}
    told = []
    for part in changed:
        more = _criteria_changes(now, sealed) if part == "criteria" else ""
        told.append(f"the {part} {'were' if part == 'criteria' else 'was'} changed after the seal{more}")
    keys = _changed_criteria(now, sealed) if "criteria" in changed else ()
    return SealFault(parts=changed, what="; ".join(told), file=files[changed[0]], criteria=keys)


def _changed_criteria(now: Mapping[str, object], sealed: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(key for key in sorted({*now, *sealed}) if now.get(key) != sealed.get(key))


def _criteria_changes(now: Mapping[str, object], sealed: Mapping[str, object]) -> str:
    """Which criteria, from what to what."""
    changes = [
        f"{key} was {_shown(sealed.get(key))} and is {_shown(now.get(key))}" for key in _changed_criteria(now, sealed)
    ]
    return f": {'; '.join(changes)}" if changes else " in seal.json"


def _shown(value: object) -> str:
    return "not there" if value is None else json.dumps(value)
