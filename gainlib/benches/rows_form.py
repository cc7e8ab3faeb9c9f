"""One table of an exercise file on a page: its rows to choose from, and the fields of the chosen one."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from gainlib.authoring.draft import Draft
from gainlib.authoring.entry_form import as_labelled, entry_fields, entry_values, entry_with
from gainlib.benches.exercise_writer import ExerciseWriter
from gainlib.errors import GainError
from gainlib.widgets.form import Form

__all__ = ["More", "RowsForm"]


@dataclass(frozen=True)
class More:
    """A button below a table: what it is called, and the row that it adds.

    `name` is what the row is called in a table by names; in one whose rows have a name of their own, that is kept apart
    from the others'.
    """

    label: str
    row: Callable[[], Mapping[str, Any]]
    name: str = ""


@dataclass(frozen=True)
class _Gone:
    """A row that was taken away: where it stood, and what the file said before and has said since."""

    key: str | int
    before: Draft
    since: Draft


class RowsForm:
    """The rows of one table of the file, such as `checks`: one is chosen, changed in its fields, added, taken away.

    `place` is where the table stands, `model` what a row may hold. `needless` names the entries that a row has
    no use for: they have a field only where the row says them all the same. `heading` opens the part of the page.
    """

    def __init__(
        self,
        writer: ExerciseWriter,
        place: tuple[str, ...],
        model: type[BaseModel],
        *,
        row_is: str,
        heading: str = "",
        told: str = "",
        more: Sequence[More] = (),
        leave: Sequence[str] = (),
        options: Mapping[str, Callable[[], Sequence[str]]] | None = None,
        drop: Callable[[str], None] | None = None,
        needless: Callable[[Mapping[str, Any]], Collection[str]] = lambda row: (),
    ) -> None:
        self.writer, self.place, self.model = writer, place, model
        self.row_is, self.heading_told, self.more, self.leave = row_is, told, more, leave
        self.options, self.drop, self.needless = options or {}, drop, needless
        self.form = Form(heading=heading, changed=self._changed, pressed=self._pressed)
        self.chosen: str | int = 0
        self._gone: _Gone | None = None

    @property
    def rows(self) -> dict[str | int, Mapping[str, Any]]:
        """The rows by where they stand: by name, or by number."""
        found = self.writer.draft.get(*self.place, unless=())
        return dict(found) if isinstance(found, Mapping) else dict(enumerate(found))

    def follow(self) -> None:
        """Show the table as it stands in the file."""
        rows = self.rows
        if rows and self.chosen not in rows:
            self.chosen = list(rows)[-1]
        fields: list[dict[str, Any]] = []
        if self.heading_told:
            fields.append({"name": "told", "form": "told", "label": self.heading_told})
        values: dict[str, Any] = {}
        if rows:
            named = [[str(key), f"{number}. {_name_of(key, row)}"] for number, (key, row) in enumerate(rows.items(), 1)]
            label = f"{self.row_is}, of {len(rows)}" if len(rows) > 1 else self.row_is
            fields.append({"name": "(row)", "label": label, "form": "choice", "options": named, "wide": True})
            values["(row)"] = str(self.chosen)
            if isinstance(self.chosen, str):
                fields.append({"name": "(name)", "label": "Name, printed by {name} in texts", "form": "line"})
                values["(name)"] = self.chosen
            options = {name: list(each()) for name, each in self.options.items()}
            row = rows[self.chosen]
            leave = [*self.leave, *(each for each in self.needless(row) if each not in row)]
            fields += entry_fields(
                self.model, leave=leave, taps=self.writer.taps, paths=list(self.writer.settings), options=options
            )
            values |= entry_values(self.model, row)
        fields += [{"name": f"more {at}", "label": each.label, "form": "button"} for at, each in enumerate(self.more)]
        if rows:
            fields.append({"name": "drop", "label": "Take this one away", "form": "button"})
        if self._gone and self._gone.since == self.writer.draft:
            fields.append({"name": "back", "label": "Bring back what was taken away", "form": "button"})
        shown = {each["name"] for each in fields}
        with self.form.hold_sync():
            self.form.values = {name: value for name, value in values.items() if name in shown}
            if self.form.fields != fields:
                self.form.fields = fields

    def _changed(self, values: dict[str, Any]) -> None:
        rows = self.rows
        wanted = next((key for key in rows if str(key) == values.get("(row)")), None)
        if wanted is not None and wanted != self.chosen:
            self.chosen = wanted
            self.form.said = ""
            self.follow()
            return

        def work() -> None:
            row = entry_with(self.model, rows[self.chosen], values)
            name = values.get("(name)", "").strip() if isinstance(self.chosen, str) else self.chosen
            if name != self.chosen:
                if name in rows:
                    raise GainError(f"there is one named {name} already.")
                table = {name if key == self.chosen else key: each for key, each in rows.items()}
                self.chosen = name
                self.writer.put(*self.place, value=table)
            elif row != rows[self.chosen]:
                self.writer.put(*self.place, self.chosen, value=row)

        if self.chosen in rows:
            self._done(work)

    def _pressed(self, button: str) -> None:
        if button == "drop":
            self._done(self._take_away)
            return
        if button == "back":
            self._done(self._bring_back)
            return
        more = self.more[int(button.removeprefix("more "))]

        def work() -> None:
            rows, row = self.rows, dict(more.row())
            named = "name" in row and more.name == "name"
            taken = {each.get("name") for each in rows.values()} if named else set(rows)
            first = str(row["name"]) if named else more.name
            name = next(each for each in (first, *(f"{first}_{count}" for count in range(2, 99))) if each not in taken)
            key: str | int = name if more.name and not named else len(rows)
            self.writer.put(*self.place, key, value=row | ({"name": name} if named else {}))
            self.chosen = key
            self.follow()

        self._done(work)

    def _take_away(self) -> None:
        """Take the chosen row away, and keep what the file said until something else in it is changed."""
        before, key = self.writer.draft, self.chosen
        if self.drop is not None:
            self.drop(str(self.chosen))
        else:
            self.writer.put(*self.place, self.chosen, value=None)
        self._gone = _Gone(key, before, self.writer.draft)
        self.follow()

    def _bring_back(self) -> None:
        if self._gone and self._gone.since == self.writer.draft:
            self.chosen = self._gone.key
            self.writer.restore(self._gone.before)

    def _done(self, work: Callable[[], None]) -> None:
        try:
            work()
            self.form.said = ""
        except GainError as fault:
            self.form.said = f"Not taken: {as_labelled(str(fault))}"
            self.follow()


def _name_of(key: str | int, row: Mapping[str, Any]) -> str:
    """What a row is called in the list: its name, or what it says first."""
    if isinstance(key, str):
        return key
    said = next((str(row[name]) for name in ("title", "name", "path", "at", "text", "say") if row.get(name)), "new")
    return said if len(said) < 60 else f"{said[:58]} …"
