"""AES69 files of any content, written with h5py alone: the attributes and variables that the standard asks for."""

from __future__ import annotations

from io import BytesIO

import h5py
import numpy as np


def aes69_bytes(convention: str, *, drop: tuple[str, ...] = (), **changes: object) -> bytes:
    """A file of one of the general conventions; `changes`: attribute or variable name (_ for .) to another value."""
    version = "2.0" if convention in ("GeneralFIR-E", "GeneralTF") else "1.0"
    attributes: dict[str, object] = {
        "Conventions": "SOFA", "Version": "2.1", "SOFAConventions": convention, "SOFAConventionsVersion": version,
        "DataType": convention.removeprefix("General"),
    }  # fmt: skip
    variables: dict[str, object] = {
        "ListenerPosition": np.zeros((1, 3)), "ListenerView": np.array([[1.0, 0.0, 0.0]]),
        "ListenerUp": np.array([[0.0, 0.0, 1.0]]), "SourcePosition": np.zeros((1, 3)),
    }  # fmt: skip
    for name, value in changes.items():
        given = name.replace("Data_", "Data.")
        (attributes if isinstance(value, str) or given in attributes else variables)[given] = value
    units = {"ReceiverPosition": "metre", "ListenerPosition": "metre", "N": "hertz", "Data.SamplingRate": "hertz"}
    buffer = BytesIO()
    with h5py.File(buffer, "w") as file:
        for name, value in attributes.items():
            if name not in drop and ":" not in name:
                file.attrs[name] = np.bytes_(str(value))
        for name, value in variables.items():
            if name in drop or value is None:
                continue
            variable = file.create_dataset(name, data=np.asarray(value))
            variable.attrs["Units"] = np.bytes_(str(attributes.get(f"{name}:Units", units.get(name, ""))))
            if name.endswith(("Position", "View")):
                variable.attrs["Type"] = np.bytes_(str(attributes.get(f"{name}:Type", "cartesian")))
    return buffer.getvalue()


def first_order(frequency_hz: np.ndarray, corner_hz: float, gain: float = 1.0) -> np.ndarray:
    """g (jf/f_c)/(1 + jf/f_c)."""
    ratio = 1j * frequency_hz / corner_hz
    return gain * ratio / (1 + ratio)
