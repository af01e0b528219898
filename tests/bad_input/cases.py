"""What can be wrong with a session folder, one thing at a time, and what must be said of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bad_input.sound_session import Files, sound_files

ONE = "responses/bench_in_2.csv"
SHEET = "scores/abx.csv"


@dataclass(frozen=True, kw_only=True)
class Case:
    """One fault: how it comes about; words of the first line, the whole second line, words of the third."""

    break_it: Callable[[Files], None]
    what: str
    where: str
    try_: str

    def files(self) -> Files:
        files = sound_files()
        self.break_it(files)
        return files


def manifest(old: str, new: str) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        text = files["session.toml"].decode()
        assert text.count(old) == 1
        files["session.toml"] = text.replace(old, new).encode()

    return change


def put(path: str, data: bytes | None) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        if data is None:
            del files[path]
        else:
            files[path] = data

    return change


def rename(old: str, new: str) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        files[new] = files.pop(old)

    return change


def line(path: str, number: int, edit: Callable[[str], str]) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        lines = files[path].decode().split("\n")
        lines[number - 1] = edit(lines[number - 1])
        files[path] = "\n".join(lines).encode()

    return change


def swap_lines(path: str, first: int) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        lines = files[path].split(b"\n")
        lines[first - 1 : first + 1] = lines[first], lines[first - 1]
        files[path] = b"\n".join(lines)

    return change


def bytes_of(path: str, edit: Callable[[bytes], bytes]) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        files[path] = edit(files[path])

    return change


def copy(source: str, target: str) -> Callable[[Files], None]:
    def change(files: Files) -> None:
        files[target] = files[source]

    return change


def first_field(row: str, second: str) -> str:
    return f"{row.split(',')[0]},{second}"


MANIFEST_CASES = {
    "an unknown key": Case(
        break_it=manifest("design_corner_hz", "design_corner_khz"),
        what="unknown key 'design_corner_khz' in [chain]",
        where="session.toml, line 12",
        try_="did you mean 'design_corner_hz'?",
    ),
    "an unknown table": Case(
        break_it=manifest("[chain]", "[chian]"),
        what="unknown key 'chian'",
        where="session.toml, line 11",
        try_="did you mean 'chain'?",
    ),
    "two reference conditions": Case(
        break_it=manifest('label = "Box in"', "reference = true"),
        what="2 conditions are the reference: 'out' (line 16), 'in' (line 20)",
        where="session.toml, line 20",
        try_="leave reference = true in one of them",
    ),
    "no reference condition": Case(
        break_it=manifest("reference = true", "reference = false"),
        what="no condition is the reference; there are 'out' (line 15), 'in' (line 19)",
        where="session.toml, line 15",
        try_="write reference = true",
    ),
    "a pattern that matches nothing": Case(
        break_it=manifest('files = "responses/', 'files = "response/'),
        what="files = 'response/{seat}_{condition}_{repeat}.csv' matches nothing",
        where="session.toml, line 27",
        try_="the folder holds responses/bench_in_1.csv",
    ),
    "a score sheet that is not there": Case(
        break_it=put(SHEET, None),
        what="files = 'scores/abx.csv' matches nothing",
        where="session.toml, line 30",
        try_="the folder holds responses/bench_in_1.csv",
    ),
    "a file name with an unknown seat": Case(
        break_it=rename(ONE, "responses/bensh_in_2.csv"),
        what="'responses/bensh_in_2.csv': {seat} is 'bensh', which names no seat",
        where="session.toml, line 27",
        try_="did you mean 'bench'?",
    ),
    "a file name with an unknown condition": Case(
        break_it=rename(ONE, "responses/bench_inn_2.csv"),
        what="'responses/bench_inn_2.csv': {condition} is 'inn', which names no condition",
        where="session.toml, line 27",
        try_="did you mean 'in'?",
    ),
    "a repeat that is a copy of another": Case(
        break_it=copy("responses/bench_in_1.csv", ONE),
        what="'responses/bench_in_1.csv' and 'responses/bench_in_2.csv' have the same bytes",
        where="session.toml, line 27",
        try_="take the copy out",
    ),
    "a session.toml that is no TOML": Case(
        break_it=manifest("[chain]", "[chain"),
        what="session.toml is not TOML",
        where="session.toml, line 11, column 7",
        try_="each bracket and quote is closed",
    ),
    "a session.toml that is no UTF-8": Case(
        break_it=put("session.toml", b"format = 1\n# \xff\n"),
        what="session.toml is not UTF-8: byte 0xff",
        where="session.toml, line 2",
        try_="UTF-8",
    ),
    "a session.toml of a later format": Case(
        break_it=manifest("format = 1", "format = 2"),
        what="format = 2 was made by a later version",
        where="session.toml, line 1",
        try_="install a later version",
    ),
}
RESPONSE_CASES = {
    "text where a number should be": Case(
        break_it=line(ONE, 5, lambda row: first_field(row, "loud")),
        what="'loud' is not a number",
        where=f"{ONE}, line 5, column 2 (dB)",
        try_="put a number there",
    ),
    "frequencies out of order": Case(
        break_it=swap_lines(ONE, 7),
        what="the frequency 26.670 Hz follows 28.251 Hz",
        where=f"{ONE}, line 8, column 1 (Hz)",
        try_="sort the rows",
    ),
    "a frequency twice": Case(
        break_it=line(ONE, 3, lambda _: "20.000,70.0"),
        what="the frequency 20.000 Hz stands twice",
        where=f"{ONE}, line 3, column 1 (Hz)",
        try_="leave one of the rows out",
    ),
    "a negative frequency": Case(
        break_it=line(ONE, 2, lambda row: "-" + row),
        what="the frequency -20.000 Hz is not above 0 Hz",
        where=f"{ONE}, line 2, column 1 (Hz)",
        try_="above 0 Hz",
    ),
    "a level that is not a number": Case(
        break_it=line(ONE, 9, lambda row: first_field(row, "NaN")),
        what="'NaN' is not a finite number",
        where=f"{ONE}, line 9, column 2 (dB)",
        try_="leave out the rows",
    ),
    "a file cut within a number": Case(
        break_it=bytes_of(ONE, lambda data: data[:-3]),
        what="the file is cut: its last number '75.96'",
        where=f"{ONE}, line 122",
        try_="again",
    ),
    "a file cut within a row": Case(
        break_it=bytes_of(ONE, lambda data: data[:-10]),
        what="the file is cut: its last row has 1 of 2 fields",
        where=f"{ONE}, line 122, column 2",
        try_="again",
    ),
    "a binary file": Case(
        break_it=put(ONE, bytes(range(256)) * 4),
        what="binary: byte 0x00 at offset 0",
        where=f"{ONE} (session.toml, line 27)",
        try_="delimited text",
    ),
    "a file that reads two ways": Case(
        break_it=put(ONE, b"20,125;80\n100,250;81\n200,500;82\n400,000;83\n"),
        what="the table reads two ways: the row with '20,125' is 20.125 Hz, 80 dB, or",
        where=f"{ONE}, line 1",
        try_="decimal =",
    ),
    "an empty file": Case(
        break_it=put(ONE, b""),
        what="the file is empty (0 bytes)",
        where=f"{ONE} (session.toml, line 27)",
        try_="export it anew",
    ),
}
SCORE_CASES = {
    "an unknown condition in a score sheet": Case(
        break_it=line(SHEET, 4, lambda _: "L1,3,inn,out"),
        what="unknown condition 'inn'",
        where=f"{SHEET}, line 4, column 3 (x)",
        try_="did you mean 'in'?",
    ),
    "a score sheet without a column": Case(
        break_it=line(SHEET, 1, lambda _: "listener,trial,x,said"),
        what="the header has no column 'answer': 'listener', 'trial', 'x', 'said'",
        where=f"{SHEET}, line 1",
        try_="columns = { answer = ... }",
    ),
    "a trial twice": Case(
        break_it=line(SHEET, 7, lambda _: "L1,2,in,in"),
        what=f"listener 'L1' has trial '2' twice: here and in {SHEET}, line 3",
        where=f"{SHEET}, line 7",
        try_="number the trials",
    ),
    "an empty score sheet": Case(
        break_it=put(SHEET, b""),
        what="the file is empty (0 bytes)",
        where=f"{SHEET} (session.toml, line 30)",
        try_="export it anew",
    ),
}


def sheet_of(method: str, rows: str) -> Callable[[Files], None]:
    """The score sheet of another method, these rows below its header."""
    columns = {
        "triangle": "order,answer",
        "duo-trio": "standard,first,second,answer",
        "same-different": "first,second,answer",
        "tetrad": "order,answer",
    }

    def change(files: Files) -> None:
        manifest('method = "abx"', f'method = "{method}"')(files)
        files[SHEET] = f"listener,trial,{columns[method]}\n{rows}\n".encode()

    return change


METHOD_CASES = {
    "a triangle of one condition": Case(
        break_it=sheet_of("triangle", "L1,1,in out out,1\nL1,2,in in in,1"),
        what="the order 'in in in' has 1 different conditions, not two",
        where=f"{SHEET}, line 3, column 3 (order)",
        try_="such as 'in out out'",
    ),
    "a fourth position of a triangle": Case(
        break_it=sheet_of("triangle", "L1,1,in out out,1\nL1,2,out in out,2\nL1,3,out in out,4"),
        what="the answer '4' is none of 1, 2, 3",
        where=f"{SHEET}, line 4, column 4 (answer)",
        try_="leave it empty if the trial was invalid",
    ),
    "a standard that matches both": Case(
        break_it=sheet_of("duo-trio", "L1,1,in,in,out,1\nL1,2,in,in,in,1"),
        what="the standard 'in' must match one of first 'in' and second 'in', and one only",
        where=f"{SHEET}, line 3, column 3 (standard)",
        try_="one of them the standard again",
    ),
    "a third answer to same or different": Case(
        break_it=sheet_of("same-different", "L1,1,in,out,equal"),
        what="the answer 'equal' is none of same, different",
        where=f"{SHEET}, line 2, column 5 (answer)",
        try_="one of same, different",
    ),
    "a tetrad of three and one": Case(
        break_it=sheet_of("tetrad", "L1,1,in out out in,1 4\nL1,2,in out out out,1 4"),
        what="the order 'in out out out' is not two conditions twice each",
        where=f"{SHEET}, line 3, column 3 (order)",
        try_="such as 'in out out in'",
    ),
    "one position of a tetrad": Case(
        break_it=sheet_of("tetrad", "L1,1,in out out in,1 4\nL1,2,in out in out,3"),
        what="the answer '3' does not name two of the positions 1 to 4",
        where=f"{SHEET}, line 3, column 4 (answer)",
        try_="such as '1 4'",
    ),
}
CASES = {**MANIFEST_CASES, **RESPONSE_CASES, **SCORE_CASES, **METHOD_CASES}
