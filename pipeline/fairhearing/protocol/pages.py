"""The printable pages of a plan: the operator's, with its cautions, and each listener's, with boxes to tick."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from fairhearing.protocol.design import CONTROL, Design, KeyTrial
from fairhearing.protocol.methods import SCALE_WORDS, SCALES, Form, form_of
from fairhearing.protocol.sealing import grouped

CAUTIONS = (
    "Level: keep to the usual limit of 85 dB(A) for eight hours, half the time for each 3 dB more (NIOSH REL). "
    "Practice and control count too. Set the level once, before the first trial, and leave it.",
    "Switch everything off and let the supplies discharge before moving a cable or a setting; from then on switch only "
    "with what is meant for it.",
    "Mains wiring, the inside of an amplifier and rigging overhead are for licensed people and follow local codes.",
    "Listeners may leave when they like, and need not say why. They are recorded by code, not by name, and may take "
    "their consent back afterwards too: then their sheet is taken out.",
)
RULES = (
    "Whoever switches sits out of sight and does not answer; whoever answers does not see this page, the switch or its "
    "lamps. Better still, whoever speaks with the listeners does not see this page either.",
    "Work the switch before every sound, also where nothing changes, with the same pause each time.",
    "Play what stands here, in this order. Nothing is made up for: a trial that went wrong is marked, not repeated.",
    "In the column played write no where a trial was not played, or the time; empty means played as planned.",
    "After practice trials you may tell what was played. After all others tell nothing, not even “well done”.",
)
_STYLE = """
@page { size: A4; margin: 14mm 13mm; }
* { box-sizing: border-box; }
body {
  font: 10.5pt/1.4 "Liberation Sans", Arial, Helvetica, sans-serif; color: #1a1a1a;
  max-width: 186mm; margin: 8mm auto; padding: 0 4mm;
}
h1 { font-size: 17pt; margin: 0 0 1mm; }
h2 { font-size: 12pt; margin: 6mm 0 2mm; break-after: avoid; }
p, ul { margin: 0 0 2.5mm; }
ul { padding-left: 5mm; }
li { margin-bottom: 1mm; }
.seal {
  font: 8.5pt/1.5 "Liberation Mono", "Courier New", monospace; border: 0.3mm solid #777;
  padding: 1.5mm 2.5mm; margin: 3mm 0 4mm; overflow-wrap: break-word;
}
.care { border-left: 1.2mm solid #a33; padding: 0.5mm 0 0.5mm 3.5mm; margin: 3mm 0 4mm; }
.asks { font-size: 12.5pt; font-weight: bold; margin: 3mm 0; }
h3 { font-size: 11pt; margin: 5mm 0 1.5mm; break-after: avoid; }
table {
  border-collapse: collapse; table-layout: fixed; width: 100%; margin-bottom: 4mm; font-variant-numeric: tabular-nums;
}
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { text-align: left; font-size: 9pt; border-bottom: 0.4mm solid #333; padding: 1mm 2mm; vertical-align: bottom; }
td { border-bottom: 0.2mm solid #bbb; padding: 1.2mm 2mm; }
td.play { font-weight: bold; overflow-wrap: anywhere; }
td.write { border-left: 0.2mm solid #ddd; }
.tick { display: inline-block; white-space: nowrap; margin-right: 6mm; }
.box {
  display: inline-block; width: 4mm; height: 4mm; border: 0.4mm solid #333;
  vertical-align: -0.7mm; margin-right: 1.5mm;
}
.line { display: inline-block; width: 22mm; border-bottom: 0.3mm solid #333; height: 5mm; }
.scale { table-layout: auto; width: auto; }
.visit { break-before: page; }
@media print { body { margin: 0; max-width: none; padding: 0; } }
"""


def operator_page(
    design: Design, trials: Sequence[KeyTrial], commitment: str, session: str, labels: Mapping[str, str]
) -> bytes:
    """What whoever switches plays, trial by trial; never what anybody should answer. `labels`: by condition."""
    places = form_of(design.method, design.scale).places
    body = [
        "<h1>For whoever switches</h1>",
        f"<p>Session {escape(session)}. Keep this page from everybody who listens.</p>",
        _seal(commitment),
        f'<div class="care"><h2>Care</h2>{_list(CAUTIONS)}</div>',
        f"<h2>How to run it</h2>{_list(RULES)}",
        f"<h2>What the words mean</h2>{_list(_meanings(design, labels))}",
    ]
    for listener in design.listeners:
        own = [trial for trial in trials if trial.listener == listener]
        body.append(f'<section class="visit"><h1>Listener {escape(listener)}</h1>{_looks(design, own)}')
        body += [_switching_table(block, places) for block in _blocks(own)]
        body.append("</section>")
    return _page("For whoever switches", body)


def listener_page(design: Design, trials: Sequence[KeyTrial], commitment: str, session: str) -> bytes:
    """One listener's page: trial, programme, seat and boxes; nothing that tells what plays."""
    form = form_of(design.method, design.scale)
    listener = trials[0].listener
    body = [
        f"<h1>Listener {escape(listener)}</h1>",
        f"<p>Session {escape(session)}. Your name stands nowhere here.</p>",
        _seal(commitment),
        f'<p class="asks">{escape(form.asks)}</p>',
        _list(_listener_rules(design, form)),
    ]
    if not form.words:
        body.append(_scale_table(design.scale or ""))
    body += [_answer_table(block, form) for block in _blocks(trials)]
    return _page(f"Listener {listener}", body)


def _meanings(design: Design, labels: Mapping[str, str]) -> list[str]:
    lines = [f"{one}: {labels.get(one, one)}" for one in design.conditions]
    if design.n_control:
        lines.append(f"{CONTROL}: {design.reference}, and {design.control}. Take that away again after the trial.")
    return lines


def _looks(design: Design, own: Sequence[KeyTrial]) -> str:
    """After which trial of a listener each planned look is due; the last one is the end."""
    scored = [trial.trial for trial in own if trial.part == "scored"]
    each = [look.n_trials // len(design.listeners) for look in design.looks[:-1]]
    due = [f"look {number} after trial {scored[n - 1]}" for number, n in enumerate(each, start=1)]
    return f"<p>Answers are typed in for {escape(', '.join(due))}.</p>" if due else ""


def _listener_rules(design: Design, form: Form) -> list[str]:
    rules = [
        "Practice comes first: you may be told what played, and it does not count.",
        "Then answer every trial, also where you are not sure" + (": guess." if form.n_right else "."),
        "Nobody tells you how you are doing, and please do not speak about it with others who listen.",
        "You may ask for a pause at any time, leave when you like, and take your answers back afterwards.",
    ]
    return rules if design.n_practice else rules[1:]


def _blocks(trials: Sequence[KeyTrial]) -> list[list[KeyTrial]]:
    return [[trial for trial in trials if trial.block == block] for block in sorted({one.block for one in trials})]


def _block_title(block: Sequence[KeyTrial]) -> str:
    first = block[0]
    name = "Practice" if first.part == "practice" else f"Block {first.block}"
    seats = list(dict.fromkeys(trial.seat for trial in block if trial.seat is not None))
    return name + (f", seat {', '.join(seats)}" if seats else "")


def _switching_table(block: Sequence[KeyTrial], places: Sequence[str]) -> str:
    programmes = any(trial.programme for trial in block)
    heads = {"trial": 9, **({"programme": 20} if programmes else {}), **dict.fromkeys(places, 16)}
    heads |= {"played": 13, "at": 13, "note": 26}
    rows = []
    for trial in block:
        cells = [f"<td>{escape(trial.trial)}</td>"]
        cells += [f"<td>{escape(trial.programme or '')}</td>"] if programmes else []
        cells += [f'<td class="play">{escape(one)}</td>' for one in trial.plays]
        rows.append(f"<tr>{''.join(cells)}{'<td class=write></td>' * 3}</tr>")
    return f"<h3>{escape(_block_title(block))}</h3>{_table(heads, rows)}"


def _answer_table(block: Sequence[KeyTrial], form: Form) -> str:
    programmes = any(trial.programme for trial in block)
    heads = {"trial": 9, **({"programme": 20} if programmes else {}), "your answer": 50, "time": 16}
    answer = "".join(f'<span class="tick"><span class="box"></span>{escape(word)}</span>' for word in form.words)
    answer = answer or '<span class="line"></span>'
    rows = []
    for trial in block:
        programme = f"<td>{escape(trial.programme or '')}</td>" if programmes else ""
        rows.append(f'<tr><td>{escape(trial.trial)}</td>{programme}<td>{answer}</td><td class="write"></td></tr>')
    return f"<h3>{escape(_block_title(block))}</h3>{_table(heads, rows)}"


def _scale_table(scale: str) -> str:
    low, high = SCALES[scale]
    rows = [f"<tr><td>{escape(number)}</td><td>{escape(word)}</td></tr>" for number, word in SCALE_WORDS[scale]]
    takes = f"<p>Any number from {low:g} to {high:g}, with decimals if you like:</p>"
    return f'{takes}<table class="scale">{"".join(rows)}</table>'


def _table(heads: Mapping[str, int], rows: Iterable[str]) -> str:
    """A table whose columns are as wide, beside each other, as the numbers say: the same in every block."""
    whole = sum(heads.values())
    widths = "".join(f'<col style="width: {100 * width / whole:.1f}%">' for width in heads.values())
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    columns = f"<colgroup>{widths}</colgroup>"
    return f"<table>{columns}<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _list(lines: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>"


def _seal(commitment: str) -> str:
    return f'<p class="seal">Sealed as {grouped(commitment)}</p>'


def _page(title: str, body: Sequence[str]) -> bytes:
    head = f'<meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style>'
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{chr(10).join(body)}\n</body></html>\n'.encode()
    )
