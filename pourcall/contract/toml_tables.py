"""A person's TOML, checked. Every fault is found at once: its key, what is wrong there, what was perhaps meant.

Settings, plan files, alloy sheets and profiles are all checked here. What is a typed struct is checked by its fields
(`Checker.struct`), the rest key by key. Text and tables in, values and `Fault`s out; sentences are made at the edge.
"""

import math
import re
import tomllib
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

import msgspec
from msgspec import inspect

from pourcall.contract import nearest as words
from pourcall.contract.errors import BadInput, PourcallError
from pourcall.contract.message import NOTHING, Message, tell

T = TypeVar("T", bound=msgspec.Struct)
Read = Callable[[str, Any], Any]  # key and written value to the value meant
FEW = 6  # so many words are told whole, whichever is near
# A figure with a decimal comma, where one value must stand.
_DECIMAL_COMMA = re.compile(r"=[ \t]*([+-]?\d+,\d+)[ \t]*(?=$|[#}]|,\s*[\w\"'])", re.MULTILINE)
MOST_LISTED = 30  # so many valid words are told where none is near; more would be no help


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong at a key of a file.

    key: as a person finds it, `name`, `solidus.unit`, `[board.bench] port`, `[[segment]] 2 to`; empty: the file itself.
    near: the valid word that was perhaps meant; empty: none is near, or it is no matter of words.
    """

    key: str
    what: Message
    near: str = ""
    file: str = ""

    @property
    def told(self) -> Message:
        """Key and fault; who tells of several files says the file before it."""
        return tell("toml.fault", key=self.key, what=self.what) if self.key else self.what


def told(faults: Iterable[Fault]) -> tuple[Message, ...]:
    """All of them, as a fact of the message that refuses the file."""
    return tuple(fault.told for fault in faults)


def parse_toml(text: str) -> dict[str, Any]:
    """The whole text. Raises BadInput where it is no TOML, be it nested too deep for any reader."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        comma = _DECIMAL_COMMA.search(text)
        if comma is not None:
            typed, line = comma[1], text.count("\n", 0, comma.start(1)) + 1
            what = tell("toml.decimal_comma", line=line, typed=typed)
            raise BadInput(what, remedy=tell("toml.decimal_comma.remedy", plain=typed.replace(",", "."))) from err
        raise BadInput(tell("toml.no_toml", error=str(err)), remedy=tell("toml.remedy")) from err
    except RecursionError:
        raise BadInput(tell("toml.too_deep"), remedy=tell("toml.remedy")) from None


def is_number(value: object) -> bool:
    """TOML knows `nan` and `inf`, and a truth is no number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def as_found(value: object) -> str:
    """A value as it may stand in the file, and not at length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{ ... }"
    return "[ ... ]" if isinstance(value, list | tuple) else repr(value)


def as_written(_: str, value: Any) -> Any:
    """For tables whose values are meant as they stand."""
    return value


@dataclass(slots=True)
class Checker:
    """One table of a file. Each check adds what it finds to `faults`, which the tables of a file share.

    table: its heading, `[board.bench]` or `[[segment]] 2`; prefix: of a table within it, `pot.`.
    """

    raw: Mapping[str, Any]
    table: str = ""
    prefix: str = ""
    file: str = ""
    faults: list[Fault] = field(default_factory=list)

    def add(self, key: str, what: Message, near: str = "") -> None:
        """A fault under this key; an empty key: of the table as a whole."""
        whole = f"{self.table} {self.prefix}{key}".strip().removesuffix(".")
        self.faults.append(Fault(whole, what, near, self.file))

    # -- keys and tables

    def known(self, valid: Iterable[str]) -> None:
        """No key but these."""
        names = tuple(valid)
        for key in self.raw:
            if key not in names:
                self.add(key, tell("toml.unknown_key", hint=hint(key, names)), near(key, names))

    def required(self, keys: Iterable[str]) -> None:
        """All of these keys."""
        for key in keys:
            if key not in self.raw:
                self.add(key, tell("toml.missing"))

    def part(self, key: str, keys: Collection[str] = ()) -> "Checker | None":
        """The table under this key; None where it is none. keys: what such a table has, for who does not know."""
        value = self.raw[key]
        if isinstance(value, Mapping):
            return Checker(value, self.table, f"{self.prefix}{key}.", self.file, self.faults)
        self.add(key, tell("toml.not_table_with", keys=", ".join(keys)) if keys else tell("toml.not_table"))
        return None

    def headed(self, key: str, table: str) -> "Checker | None":
        """The table under this key, which has its own heading in the file; None where it is none."""
        value = self.raw[key]
        if isinstance(value, Mapping):
            return Checker(value, table, "", self.file, self.faults)
        Checker({}, table, "", self.file, self.faults).add("", tell("toml.not_table"))
        return None

    def rows(self, key: str) -> "list[Checker]":
        """The tables of a list, `[[segment]]` at the top of the file; those that are none are told and left out."""
        value = self.raw.get(key, [])
        if not isinstance(value, list):
            self.add(key, tell("toml.not_rows", heading=f"[[{key}]]"))
            return []
        made = []
        for number, one in enumerate(value, 1):
            table, prefix = (self.table, f"{self.prefix}{key}[{number}].") if self.prefix else (row(key, number), "")
            checker = Checker(one if isinstance(one, Mapping) else {}, table, prefix, self.file, self.faults)
            if isinstance(one, Mapping):
                made.append(checker)
            else:
                checker.add("", tell("toml.not_table"))
        return made

    # -- values

    def text(self, key: str) -> str:
        """Text, or nothing."""
        value = self.raw.get(key, "")
        if isinstance(value, str):
            return value
        self.add(key, tell("toml.not_text", found=as_found(value)))
        return ""

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, or nothing."""
        value = self.raw.get(key, [])
        if isinstance(value, list) and all(isinstance(one, str) for one in value):
            return tuple(value)
        self.add(key, tell("toml.not_texts"))
        return ()

    def truth(self, key: str) -> bool:
        """True or false; false where it is not there."""
        value = self.raw.get(key, False)
        if isinstance(value, bool):
            return value
        self.add(key, tell("toml.not_truth", found=as_found(value)))
        return False

    def number(self, key: str, least: float | None = None, most: float | None = None) -> float | None:
        """A number, in this range if one is given; None: it is not there, or at fault."""
        if key not in self.raw:
            return None
        value = self.raw[key]
        if not is_number(value):
            self.add(key, tell("toml.not_number", found=as_found(value)))
        elif (least is not None and value < least) or (most is not None and value > most):
            self.add(key, _beyond(value, ge=least, le=most))
        else:
            return float(value)
        return None

    def one_of(self, key: str, valid: Iterable[str]) -> None:
        """One of these words, where the key is there and holds text."""
        value = self.raw.get(key)
        if isinstance(value, str):
            self.word(key, value, valid)

    def word(self, key: str, value: str, valid: Iterable[str]) -> None:
        """That this word under the key is one of these."""
        names = tuple(valid)
        if value in names:
            return
        if len(names) <= FEW:
            what = tell("toml.one_of", valid=", ".join(names), found=value)
        else:
            what = tell("toml.none_of", found=value, hint=hint(value, names))
        self.add(key, what, near(value, names))

    # -- typed tables

    def struct(self, kind: type[T], read: Read = as_written) -> T | None:
        """The whole table as one of this type; None where it has faults."""
        before = len(self.faults)
        good = self.fields(kind, read)
        self.required(one.name for one in msgspec.structs.fields(kind) if one.required)
        return kind(**good) if len(self.faults) == before else None

    def fields(self, kind: type[msgspec.Struct], read: Read = as_written) -> dict[str, Any]:
        """The keys that are sound as fields of this type."""
        types = {one.name: one.type for one in msgspec.structs.fields(kind)}
        self.known(types)
        good: dict[str, Any] = {}
        for key in self.raw:
            if key not in types:
                continue
            before = len(self.faults)
            value = self._field(key, types[key], read)
            if len(self.faults) == before:
                good[key] = value
        return good

    def _field(self, key: str, kind: Any, read: Read) -> Any:
        """One value of a typed table; its faults are told, and then it is not for use."""
        raw = self.raw[key]
        within = _held(kind) if isinstance(raw, Mapping) else kind
        if isinstance(within, type) and issubclass(within, msgspec.Struct):
            part = self.part(key)
            return part.struct(within, read) if part is not None else None
        try:
            raw = read(key, raw)
            value = msgspec.convert(raw, kind)
        except msgspec.ValidationError:
            self._wrong(key, raw, _held(kind))
            return None
        except PourcallError as err:
            self.add(key, of_error(err))
            return None
        parts = value.values() if isinstance(value, Mapping) else value if isinstance(value, tuple) else (value,)
        endless = [part for part in parts if isinstance(part, float) and not is_number(part)]
        if endless:  # no comparison stops a `nan`
            self.add(key, tell("toml.not_number", found=as_found(endless[0])))
        return value

    def _wrong(self, key: str, value: Any, kind: Any) -> None:
        """Tell what a value that was refused should be."""
        found, wanted = as_found(value), inspect.type_info(kind)
        match wanted:
            case inspect.DictType() if isinstance(value, Mapping):
                one = Checker(value, self.table, f"{self.prefix}{key}.", self.file, self.faults)
                for name in value:
                    one._field(name, get_args(kind)[1], as_written)
            case inspect.DictType() | inspect.StructType():
                self.add(key, tell("toml.not_table"))
            case inspect.FloatType() | inspect.IntType() if is_number(value) and (
                isinstance(wanted, inspect.FloatType) or isinstance(value, int)
            ):
                self.add(key, _beyond(value, gt=wanted.gt, ge=wanted.ge, lt=wanted.lt, le=wanted.le))
            case inspect.IntType():
                self.add(key, tell("toml.not_whole", found=found))
            case inspect.FloatType():
                self.add(key, tell("toml.not_number", found=found))
            case inspect.BoolType():
                self.add(key, tell("toml.not_truth", found=found))
            case inspect.TupleType():
                self.add(key, tell("toml.not_numbers", count=len(wanted.item_types), found=found))
            case _ if not isinstance(value, str):
                self.add(key, tell("toml.not_text", found=found))
            case inspect.LiteralType():
                self.word(key, value, [str(one) for one in get_args(kind) if one])
            case inspect.EnumType():
                self.word(key, value, [str(one.value) for one in wanted.cls])
            case _:
                self.add(key, tell("toml.not_such_text", found=found))


def row(key: str, number: int) -> str:
    """How the table of a list is found in the file."""
    return f"[[{key}]] {number}"


def of_error(err: PourcallError) -> Message:
    """What another check said of a value, as the fault."""
    return tell("toml.refused", what=err.what, remedy=err.remedy) if err.remedy else tell("toml.said", what=err.what)


def near(word: str, valid: Iterable[str]) -> str:
    """The valid word that was perhaps meant; empty: none is near."""
    return next(iter(words.nearest(word, valid)), "")


def hint(word: str, valid: Iterable[str]) -> Message:
    """What was meant, or all there is, where that is not too long to be read."""
    names = tuple(valid)
    meant = near(word, names)
    if meant:
        return tell("toml.near", near=meant)
    return tell("toml.valid", valid=", ".join(names)) if len(names) <= MOST_LISTED else NOTHING


def _held(kind: Any) -> Any:
    """What a field holds, where it holds something: the type without its `| None`."""
    parts = [one for one in get_args(kind) if one is not type(None)]
    return parts[0] if get_origin(kind) in (UnionType, Union) and len(parts) == 1 else kind


def _beyond(
    value: float, *, gt: float | None = None, ge: float | None = None, lt: float | None = None, le: float | None = None
) -> Message:
    """A number that is not within its limits."""
    limits = []
    if gt is not None:
        limits.append(tell("toml.more_than", least=gt))
    if ge is not None:
        limits.append(tell("toml.at_least", least=ge))
    if lt is not None:
        limits.append(tell("toml.less_than", most=lt))
    if le is not None:
        limits.append(tell("toml.at_most", most=le))
    return tell("toml.beyond", limits=tuple(limits), found=as_found(value))
