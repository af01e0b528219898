"""The options of `fairhearing corner`: their names and what the help says of them."""

from __future__ import annotations

from typing import Annotated

import typer

LoadKohm = Annotated[
    str, typer.Option("--load-kohm", metavar="X", help="Input resistance that the amplifier really presents.")
]
CapacitanceNf = Annotated[str | None, typer.Option("--capacitance-nf", metavar="X", help="The series capacitor.")]
DesignCornerHz = Annotated[
    str | None, typer.Option("--design-corner-hz", metavar="X", help="The corner that is meant.")
]
SettingKohm = Annotated[
    str | None, typer.Option("--setting-kohm", metavar="X", help="The load that the filter is set for.")
]
SourceOhm = Annotated[
    str, typer.Option("--source-ohm", metavar="X", help="Output resistance of what feeds the filter.")
]
CablePf = Annotated[str, typer.Option("--cable-pf", metavar="X", help="Cable between the capacitor and the amplifier.")]
TapKohm = Annotated[
    list[str] | None,
    typer.Option("--tap-kohm", metavar="X", help="A load hung on the line behind the capacitor; may be repeated."),
]
TapBeforeKohm = Annotated[
    list[str] | None,
    typer.Option(
        "--tap-before-kohm", metavar="X", help="A load hung on the line ahead of the capacitor; may be repeated."
    ),
]
SecondInputKohm = Annotated[
    str | None,
    typer.Option("--second-input-kohm", metavar="X", help="Input resistance of a second amplifier on the line."),
]
MeasuringInputKohm = Annotated[
    str | None,
    typer.Option("--measuring-input-kohm", metavar="X", help="Load of the measuring input at the amplifier's input."),
]
CouplingCapacitorUf = Annotated[
    str | None, typer.Option("--coupling-capacitor-uf", metavar="X", help="The amplifier's own coupling capacitor.")
]
CapacitorTolerance = Annotated[
    str | None, typer.Option("--capacitor-tolerance-percent", metavar="X", help="Tolerance of the capacitors; else 5.")
]
InputTolerance = Annotated[
    str | None,
    typer.Option("--input-tolerance-percent", metavar="X", help="Tolerance of the input resistances; else 20."),
]
Balanced = Annotated[
    bool, typer.Option("--balanced", help="A capacitor in each leg of a balanced line; loads are leg to leg.")
]
