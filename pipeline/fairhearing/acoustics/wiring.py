"""From a chain as it is written down, in the trade's units, to the network that it is."""

from __future__ import annotations

from typing import Protocol

from fairhearing.acoustics.chain import CornerRange, capacitance_f, corner_frequency_hz
from fairhearing.acoustics.network import LineNetwork, Place, line_corner_hz
from fairhearing.acoustics.tolerances import USUAL, Tolerances, line_corner_range


class WrittenChain(Protocol):
    """What is written of a chain; None is "not said". Units stand in the names; `_uf` is microfarad."""

    @property
    def design_corner_hz(self) -> float | None: ...
    @property
    def setting_kohm(self) -> float | None: ...
    @property
    def setting_left_kohm(self) -> float | None: ...
    @property
    def setting_right_kohm(self) -> float | None: ...
    @property
    def capacitance_nf(self) -> float | None: ...
    @property
    def balanced(self) -> bool | None: ...
    @property
    def amplifier_input_kohm(self) -> float | None: ...
    @property
    def source_output_ohm(self) -> float | None: ...
    @property
    def cable_capacitance_pf(self) -> float | None: ...
    @property
    def tap_kohm(self) -> tuple[float, ...] | None: ...
    @property
    def tap_before_kohm(self) -> tuple[float, ...] | None: ...
    @property
    def second_input_kohm(self) -> float | None: ...
    @property
    def measuring_input_kohm(self) -> float | None: ...
    @property
    def coupling_capacitor_uf(self) -> float | None: ...
    @property
    def capacitor_tolerance_percent(self) -> float | None: ...
    @property
    def input_tolerance_percent(self) -> float | None: ...


def channels_of(chain: WrittenChain) -> tuple[str | None, ...]:
    """left and right where they are set for different loads; else None alone, for all channels.

    Parameters
    ----------
    chain : WrittenChain

    Returns
    -------
    tuple of str or None
    """
    left, right = (setting_of(chain, channel) for channel in ("left", "right"))
    return (None,) if left == right else ("left", "right")


def setting_of(chain: WrittenChain, channel: str | None = None) -> float | None:
    """The load that the filter of a channel is set for.

    Parameters
    ----------
    chain : WrittenChain
    channel : {"left", "right"} or None
        None: of both, where they are set alike.

    Returns
    -------
    float, kilohm, or None
        None where it is not said, or where left and right differ.
    """
    left = chain.setting_kohm if chain.setting_left_kohm is None else chain.setting_left_kohm
    right = chain.setting_kohm if chain.setting_right_kohm is None else chain.setting_right_kohm
    if channel is None:
        return left if left == right else None
    return left if channel == "left" else right


def series_capacitance_f(chain: WrittenChain, channel: str | None = None) -> float | None:
    """The series capacitance that works against the load: as stated, else as the meant corner and the setting make it.

    A balanced line has a capacitor per leg: what is stated is one of them, and half of it works from leg to leg.

    Parameters
    ----------
    chain : WrittenChain
    channel : {"left", "right"} or None

    Returns
    -------
    float, farad, or None
        None where the chain does not say it.
    """
    if chain.capacitance_nf is not None:
        return chain.capacitance_nf * 1e-9 / (2.0 if chain.balanced else 1.0)
    setting_kohm = setting_of(chain, channel)
    if chain.design_corner_hz is None or setting_kohm is None:
        return None
    return capacitance_f(chain.design_corner_hz, setting_kohm * 1e3)


def meant_corner_hz(chain: WrittenChain) -> float | None:
    """The corner that is meant: `design_corner_hz`, else that of the stated capacitor with the setting or the input.

    Parameters
    ----------
    chain : WrittenChain

    Returns
    -------
    float, hertz, or None
        None where the chain does not say it.

    Examples
    --------
    >>> from fairhearing.session import Chain
    >>> round(meant_corner_hz(Chain(capacitance_nf=79.577, setting_kohm=20.0)), 1)
    100.0
    """
    if chain.design_corner_hz is not None:
        return chain.design_corner_hz
    load_kohm = setting_of(chain)
    load_kohm = chain.amplifier_input_kohm if load_kohm is None else load_kohm
    series_f = series_capacitance_f(chain)
    if series_f is None or load_kohm is None:
        return None
    return corner_frequency_hz(series_f, (chain.source_output_ohm or 0.0) + load_kohm * 1e3)


def line_network(chain: WrittenChain, channel: str | None = None, *, measured: bool = False) -> LineNetwork | None:
    """The network that the chain is: without a series capacitor where it names none.

    Parameters
    ----------
    chain : WrittenChain
    channel : {"left", "right"} or None
    measured : bool
        With the measuring input on the line; else as it plays, without it.

    Returns
    -------
    LineNetwork or None
        None where the amplifier's input is not said, or a filter is named and its capacitor cannot be told.

    Examples
    --------
    >>> from fairhearing.session import Chain
    >>> line_network(Chain(capacitance_nf=80.0, balanced=True, amplifier_input_kohm=20.0)).capacitance_f
    4e-08
    """
    series_f = series_capacitance_f(chain, channel)
    names_filter = chain.design_corner_hz is not None or chain.capacitance_nf is not None
    if chain.amplifier_input_kohm is None or (names_filter and series_f is None):
        return None
    measuring_kohm = chain.measuring_input_kohm if measured else None
    coupling_uf = chain.coupling_capacitor_uf
    return LineNetwork(
        input_ohm=chain.amplifier_input_kohm * 1e3,
        capacitance_f=series_f,
        source_ohm=chain.source_output_ohm or 0.0,
        cable_f=(chain.cable_capacitance_pf or 0.0) * 1e-12,
        taps_before_ohm=tuple(one * 1e3 for one in chain.tap_before_kohm or ()),
        taps_ohm=tuple(one * 1e3 for one in chain.tap_kohm or ()),
        second_input_ohm=None if chain.second_input_kohm is None else chain.second_input_kohm * 1e3,
        measuring_ohm=None if measuring_kohm is None else measuring_kohm * 1e3,
        coupling_f=None if coupling_uf is None else coupling_uf * 1e-6,
    )


def given_corner_hz(chain: WrittenChain, channel: str | None = None, *, measured: bool = False) -> float | None:
    """The corner that the chain as written gives: 3.01 dB below the passband of its whole network.

    Parameters
    ----------
    chain : WrittenChain
    channel : {"left", "right"} or None
    measured : bool
        As a measuring input at the amplifier's terminals sees it, its own load included; else as it plays.

    Returns
    -------
    float, hertz, or None
        None where the chain names no filter or does not say enough.

    Examples
    --------
    >>> from fairhearing.session import Chain
    >>> chain = Chain(design_corner_hz=100.0, setting_kohm=20.0, amplifier_input_kohm=20.0, tap_kohm=(150.0,))
    >>> round(given_corner_hz(chain), 1)
    113.3
    """
    network = line_network(chain, channel, measured=measured)
    if network is None or network.capacitance_f is None:
        return None
    return line_corner_hz(network, _place(measured))


def given_corner_range(
    chain: WrittenChain, channel: str | None = None, *, measured: bool = False
) -> CornerRange | None:
    """The lowest and the highest corner that the tolerances of the parts allow.

    Parameters
    ----------
    chain : WrittenChain
    channel : {"left", "right"} or None
    measured : bool

    Returns
    -------
    CornerRange or None
        None where `given_corner_hz` is.

    Examples
    --------
    >>> from fairhearing.session import Chain
    >>> found = given_corner_range(Chain(design_corner_hz=100.0, setting_kohm=20.0, amplifier_input_kohm=20.0))
    >>> round(found.low_hz), round(found.high_hz)
    (79, 132)
    """
    network = line_network(chain, channel, measured=measured)
    if network is None or network.capacitance_f is None:
        return None
    return line_corner_range(network, tolerances_of(chain), _place(measured))


def tolerances_of(chain: WrittenChain) -> Tolerances:
    """Tolerance of the capacitors and of the inputs: as stated, else 0.05 and 0.20.

    Parameters
    ----------
    chain : WrittenChain

    Returns
    -------
    Tolerances
    """
    capacitor, inputs = chain.capacitor_tolerance_percent, chain.input_tolerance_percent
    return Tolerances(
        capacitor=USUAL.capacitor if capacitor is None else capacitor / 100.0,
        inputs=USUAL.inputs if inputs is None else inputs / 100.0,
    )


def _place(measured: bool) -> Place:
    return "terminals" if measured else "amplifier"
