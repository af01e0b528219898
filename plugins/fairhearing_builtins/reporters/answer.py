"""The answer of a session: which findings it rests on, and the sentences that say them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from fairhearing.api import Condition, Session
from fairhearing_builtins.reporters import numbers, words
from fairhearing_builtins.reporters.identity import Stated

OVER_ALL = ("seat", "channel", "programme", "listener", "band_hz")
MOST_SENTENCES = 6
Values = Mapping[str, Markup | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer on one condition: the verdict's id (None: none was reached), its sentence, what it rests on."""

    verdict: str | None
    condition: Markup
    headline: Markup
    sentences: tuple[Markup, ...]
    used: tuple[Stated, ...]
    method: Markup | None


def compose(clauses: Sequence[str], values: Values) -> Markup | None:
    """The clauses whose placeholders can all be filled, joined; None if not even the first can.

    Examples
    --------
    >>> str(compose(("A is {a}", ", b is {b}"), {"a": Markup("<b>1</b>"), "b": None}))
    'A is <b>1</b>'
    """
    filled: list[Markup] = []
    for clause in clauses:
        needed = re.findall(r"\{(\w+)\}", clause)
        if all(values.get(name) is not None for name in needed):
            filled.append(Markup(clause).format(**{name: values[name] for name in needed}))
        elif not filled:
            return None
    return Markup("").join(filled)


def quoted(text: str) -> Markup:
    """Text of a session or a plug-in, escaped, in an element that says that it is not ours."""
    return Markup('<span class="quoted">{}</span>').format(text)


def label_of(session: Session | None, condition: str | None) -> Markup:
    """A condition's label as written in the session; its id where there is none."""
    conditions: tuple[Condition, ...] = session.conditions if session else ()
    text = next((one.label for one in conditions if one.id == condition and one.label), condition or "")
    return quoted(text)


def has_listening(stated: Iterable[Stated]) -> bool:
    """Whether any finding comes from listeners."""
    return any(one.finding.quantity in words.LISTENING_QUANTITIES for one in stated)


def without_listening_words(text: str, listening: bool) -> str:
    """Quoted text as it may stand in a section: where nobody listened, clauses about listening are left out.

    Parameters
    ----------
    text : str
    listening : bool
        Whether the session has findings of listeners; if so the text comes back as it is.

    Examples
    --------
    >>> without_listening_words("improved: shown; preferred: undecided.", False)
    'improved: shown; […]'
    """
    pattern = re.compile("|".join(map(re.escape, words.LISTENING_WORDS)), re.IGNORECASE)
    if listening or not pattern.search(text):
        return text
    clauses = re.split(r"(?<=[;.,])\s+", text)
    kept = [words.LEFT_OUT if pattern.search(clause) else clause for clause in clauses]
    if all(clause == words.LEFT_OUT for clause in kept):
        return words.LEFT_OUT_WHOLE
    return re.sub(rf"({re.escape(words.LEFT_OUT)} ?)+", f"{words.LEFT_OUT} ", " ".join(kept)).strip()


def pick(
    stated: Iterable[Stated], quantity: str, condition: str | None = None, variant: str | None = None
) -> Stated | None:
    """The finding over all seats, channels and listeners; with the subwoofer playing where that was measured.

    Where none is over all programmes, that of the only programme. None where there is none, or several.
    """
    found = [
        one
        for one in stated
        if one.finding.quantity == quantity
        and one.finding.variant == variant
        and one.finding.condition in (condition, None)
        and all(getattr(one.finding, name) is None for name in OVER_ALL if name != "programme")
    ]
    if len({one.finding.programme for one in found}) > 1:
        found = [one for one in found if one.finding.programme is None]
    found.sort(key=lambda one: (one.finding.playing != "both", one.finding.condition is None))
    return found[0] if found else None


def verdict_text(verdict: str | None) -> str:
    """A verdict in words; "" for none."""
    return words.VERDICTS.get(verdict or "", (verdict or "").replace("-", " "))


def is_headline(one: Stated) -> bool:
    """Whether a finding has no variant, or the one that planned looks put in its place."""
    return one.finding.variant in (None, words.BY_LOOKS_VARIANT)


def is_over_all(one: Stated) -> bool:
    """Whether a finding is a headline: no variant, and over all seats, channels, programmes, listeners and bands."""
    return one.finding.variant is None and all(getattr(one.finding, name) is None for name in OVER_ALL)


class Composer:
    """Makes the sentences on one condition of one session, and remembers the findings that they used."""

    def __init__(self, stated: Sequence[Stated], session: Session | None, condition: str | None) -> None:
        self.stated = stated
        self.condition = condition
        self.used: list[Stated] = []
        reference = next((one.id for one in session.conditions if one.reference), None) if session else None
        self.names: dict[str, Markup | None] = {
            "condition": label_of(session, condition),
            "reference": label_of(session, reference),
        }

    def _pick(self, quantity: str, variant: str | None = None) -> Stated | None:
        return pick(self.stated, quantity, self.condition, variant)

    def _say(self, clauses: Sequence[str], values: Values, used: Iterable[Stated | None]) -> Markup | None:
        said = compose(clauses, {**self.names, **values})
        if said is not None:
            self.used += [one for one in used if one is not None and one not in self.used]
        return said

    def _value(self, one: Stated | None) -> Markup | None:
        return numbers.with_interval(one) if one else None

    def filter_sentence(self) -> Markup | None:
        """Corner, expected corner, ratio, octaves, order."""
        ratio, corner, order = (self._pick(name) for name in ("corner_ratio", "corner_frequency", "filter_order"))
        expected, octaves = self._pick("expected_corner_frequency"), self._pick("corner_ratio", "octaves")
        load = self._pick("implied_load")
        values = {
            "corner": corner, "expected": expected, "ratio": ratio, "octaves": octaves, "order": order, "load": load
        }  # fmt: skip
        shown = {name: self._value(one) for name, one in values.items()}
        shown["octaves"] = numbers.with_unit(octaves) if octaves else None
        no_filter = order is not None and order.finding.verdict == "no-filter"
        if no_filter:
            clauses = words.NO_FILTER
        elif ratio is not None:
            clauses = words.FILTER.get(ratio.finding.verdict, words.FILTER[None])
        else:
            clauses = words.FILTER[None]
        if order is not None and not no_filter:
            clauses = (*clauses, *words.ORDER.get(order.finding.verdict or "", ()))
        if not no_filter and ratio is None and corner is None:
            return None
        if ratio is not None and ratio.finding.verdict == "mis-set" and self._is_too_low(octaves, no_filter):
            clauses = (*clauses, *words.TOO_LOW)
        return self._say(clauses, shown, values.values())

    @staticmethod
    def _is_too_low(octaves: Stated | None, no_filter: bool) -> bool:
        """Whether the bass that a filter was meant to take is still there."""
        return no_filter or (octaves is not None and (octaves.finding.value or 0.0) < 0)

    def bass_sentence(self) -> Markup | None:
        """The deviation from the target over seats, and each seat that is worse."""
        over, smallest = self._pick("target_deviation_change"), None
        for one in self.stated:
            finding = one.finding
            if finding.quantity == "smallest_detectable_change" and finding.of == "target_deviation_change":
                smallest = one if is_over_all(one) and finding.condition in (self.condition, None) else smallest
        worse, chance = self._losers()
        named, doubtful = self._said(worse, words.SEAT), self._said(chance, words.SEAT)
        better, same = self._seats("improved"), self._seats("unchanged")
        clauses = self._bass_clauses(over, named, doubtful)
        n_told = len(worse) + len(chance) + len(better) + len(same)
        if n_told > 1 and len(better) < len(self.stated_seats()) and clauses:
            clauses = (*clauses, *words.OTHER_SEATS)
        values = {
            "value": self._value(over),
            "smallest": numbers.with_unit(smallest) if smallest else None,
            "seats": named,
            "chance": doubtful,
            "better": self._said(better, words.SEAT_NAME),
            "same": self._said(same, words.SEAT_NAME),
        }
        mentions_smallest = any("{smallest}" in clause for clause in clauses)
        used = [over, *worse, *chance, smallest if mentions_smallest else None]
        return self._say(clauses, values, used) if clauses else None

    @staticmethod
    def _bass_clauses(over: Stated | None, named: Markup | None, doubtful: Markup | None) -> words.Clauses:
        """The seats that lose first, then what holds over seats, then who may lose by chance."""
        verdict = (over.finding.verdict or "") if over else ""
        uneven = over is not None and verdict == "undecided" and (over.finding.high or 0.0) < 0.0
        if named:
            clauses = (*words.LOSERS, *words.AFTER_LOSERS.get("uneven" if uneven else verdict, ()))
        elif doubtful and uneven:
            clauses = words.UNEVEN
        else:
            clauses = words.BASS.get(verdict, ())
        return (*clauses, *words.CHANCE_SEATS) if doubtful and clauses else clauses

    def stated_seats(self, quantity: str = "target_deviation_change") -> list[Stated]:
        """The change of the deviation at each seat."""
        return [
            one
            for one in self.stated
            if one.finding.quantity == quantity
            and one.finding.condition == self.condition
            and (one.finding.variant, one.finding.channel) == (None, None)
            and one.finding.seat is not None
        ]

    def _losers(self) -> tuple[list[Stated], list[Stated]]:
        """The seats that are worse, the one that loses most first; and those that are so only looked at alone."""
        alone = self._seats("worse")
        audits = self.stated_seats("seat_audit")
        worse = [one for one in audits if one.finding.verdict == "worse"] if audits else alone
        lost = {one.finding.seat for one in worse}
        chance = [one for one in alone if one.finding.seat not in lost]
        return sorted(worse, key=lambda one: -(one.finding.value or 0.0)), chance

    def _seats(self, verdict: str) -> list[Stated]:
        """The seats with this verdict; where the seats were looked at together, only those that were."""
        together = {one.finding.seat for one in self.stated_seats("seat_audit")}
        found = [one for one in self.stated_seats() if one.finding.verdict == verdict]
        return [one for one in found if not together or one.finding.seat in together]

    def _said(self, found: Sequence[Stated], clause: str) -> Markup | None:
        """Each seat as the clause says it, joined; None without any."""
        said = [compose((clause,), {"seat": quoted(o.finding.seat or ""), "value": self._value(o)}) for o in found]
        named = [one for one in said if one is not None]
        return Markup(words.AND).join(named) if named else None

    def told_apart_sentence(self) -> Markup | None:
        """What listeners told apart: by the looks that were planned where there were any."""
        by_looks = self.sentence("proportion_correct", words.BY_LOOKS, words.BY_LOOKS_VARIANT)
        return by_looks or self.sentence("proportion_correct", words.TOLD_APART)

    def _beside(self, quantity: str, verdict: str | None) -> Values:
        """What a result of listeners that shows nothing needs beside it: the control, the margin, what was findable."""
        if quantity not in words.OF_LISTENERS or verdict != "not-shown":
            return {}
        control, margin, smallest = map(self._pick, ("control_correct", "equivalence", "detectable_share"))
        said = words.CONTROL["" if control is None else control.finding.verdict or ""]
        values = {"control": compose(said, {"value": None if control is None else self._value(control)})}
        if margin is not None and margin.finding.of == quantity:
            values["margin"] = compose(words.MARGIN.get(margin.finding.verdict or "", ()) or ("",), {})
        if smallest is not None and quantity == smallest.finding.of:
            values["smallest"] = self._value(smallest)
        self.used += [one for one in (control, margin, smallest) if one is not None]
        return values

    def sentence(
        self, quantity: str, by_verdict: Mapping[str, words.Clauses], variant: str | None = None
    ) -> Markup | None:
        """A sentence on one quantity by its verdict; None without one."""
        one = self._pick(quantity, variant)
        if one is None or (one.finding.verdict or "") not in by_verdict:
            return None
        values = {
            "value": self._value(one),
            "n": numbers.element(one, "n"),
            "p": numbers.element(one, "p_value"),
            **self._beside(quantity, one.finding.verdict),
        }
        clauses = by_verdict[one.finding.verdict or ""]
        return self._say(self._with_limits(clauses, one), values, [one])

    def _with_limits(self, clauses: words.Clauses, one: Stated) -> words.Clauses:
        """The clauses of a result of listeners with what it could not have shown, and whom alone it is about."""
        told = " ".join(one.finding.caveats)
        if one.finding.quantity not in words.OF_LISTENERS:
            return clauses
        if words.FEW_TEXT in told:
            clauses = (*clauses, *words.FEW)
        smallest = self._pick("detectable_share")
        if smallest is not None and one.finding.verdict == "not-shown" and one.finding.quantity == smallest.finding.of:
            clauses = clauses if smallest.finding.value is not None else (*clauses, *words.FEW_TRIALS)
        if words.ALONE_TEXT not in told:
            return clauses
        return (*(clause for clause in clauses if clause != words.OVER_LISTENERS), *words.ALONE)

    def sentences(self) -> tuple[Markup, ...]:
        """Up to six sentences, in the order in which a reader asks."""
        said = [
            self.filter_sentence(),
            self.bass_sentence(),
            self.sentence("guard_band_change", words.GUARD),
            self.sentence("level_difference", words.LEVEL),
            self.told_apart_sentence(),
            self.sentence("preference_share", words.PREFERENCE) or self.sentence("rating_difference", words.RATING),
        ]
        if not all(said):
            said.append(self.sentence("subsonic_level_change", words.RELIEF))
        return tuple(Markup("{}.").format(one) for one in said if one is not None)[:MOST_SENTENCES]


def _is_refuted(stated: Iterable[Stated], session: Session | None, condition: str | None) -> bool:
    """Whether a finding refutes a requirement of the session's criteria."""
    required = session.criteria.require if session else ()
    refuting = {words.REQUIREMENTS[one] for one in required if one in words.REQUIREMENTS}
    return any(
        (one.finding.quantity, one.finding.verdict) in refuting
        and one.finding.condition == condition
        and one.finding.variant is None
        for one in stated
    )


def verdict_on(stated: Sequence[Stated], session: Session | None, condition: str | None, listening: bool) -> Verdict:
    """The answer on one condition against the reference.

    Parameters
    ----------
    stated : sequence of Stated
        The findings of one session.
    session : Session or None
    condition : str or None
    listening : bool
        Whether the session has findings of listeners.
    """
    composer = Composer(stated, session, condition)
    balance = pick(stated, "balance", condition)
    verdict = balance.finding.verdict if balance else None
    clauses = words.BALANCE.get(verdict or "", ())
    if verdict == "no-gain" and _is_refuted(stated, session, condition):
        clauses = words.REFUTED
    headline = compose(clauses, composer.names) if clauses else Markup(words.NO_BALANCE)
    method = quoted(without_listening_words(balance.finding.method, listening)) if balance and clauses else None
    sentences = composer.sentences()
    used = (*composer.used, *([balance] if balance else []))
    return Verdict(
        verdict=verdict if clauses else None,
        condition=composer.names["condition"] or Markup(""),
        headline=headline or Markup(words.NO_BALANCE),
        sentences=sentences,
        used=used,
        method=method,
    )
