"""The contact sheet of a batch's folder: what was made there of its stills, now or before."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import frontglass as fg
from frontglass.batch.manifest import (
    CONTACT_NAME,
    MANIFEST_NAME,
    Entry,
    Manifest,
    is_as_made,
    made_entry,
)
from frontglass.batch.run import Batch, Outcome
from frontglass.batch.work import Made
from frontglass.cli.batch_texts import relative_name
from frontglass.cli.grouped import note
from frontglass.cli.progress import shown
from frontglass.errors import FrontglassError
from frontglass.sheets.contact import ContactCell, ContactRow, contact_pages, small_copy
from frontglass.sheets.pdf import write_pdf


def written_contact(batch: Batch, outcomes: Sequence[Outcome]) -> Path | None:
    """Write the contact sheet of a batch's folder; return where, or None if it stays as it is."""
    path = batch.folder / CONTACT_NAME
    if not batch.folder.is_dir():
        return None
    manifest = Manifest(batch.folder / MANIFEST_NAME)
    if path.exists() and not is_as_made(path, manifest.contact):
        note(f"{path}: is not what an earlier run made, and was left as it is.")
        return None
    entries = _entries(batch, manifest)
    columns = list(dict.fromkeys(looks for looks, _ in entries))
    sheet = _Sheet(batch, outcomes, entries)
    stills = batch.found.stills
    rows = [sheet.row(still, columns) for still in shown(stills)]
    about = f"{len(stills)} stills, {len(columns)} looks" if len(stills) > 1 else str(stills[0])
    titles = [_title(looks) for looks in columns]
    name = batch.folder.resolve().name
    write_pdf(path, name, contact_pages(name, about, titles, rows))
    manifest.record_contact(made_entry(path))
    return path


Key = tuple[str, Path]


def _entries(batch: Batch, manifest: Manifest) -> dict[Key, tuple[str, Entry]]:
    """Return what the folder's record says of the batch's stills, by looks and still."""
    own = {still.absolute(): still for still in batch.found.stills}
    found: dict[Key, tuple[str, Entry]] = {}
    for name, entry in manifest.pictures.items():
        still = own.get(Path(str(entry.get("still"))).absolute())
        looks = entry.get("looks")
        if still is not None and isinstance(looks, list):
            found["+".join(map(str, looks)), still] = (name, entry)
    return found


def _title(looks: str) -> str:
    return looks.replace(":", " ").replace("+", " + ")


class _Sheet:
    """What the cells of a contact sheet hold."""

    def __init__(
        self,
        batch: Batch,
        outcomes: Sequence[Outcome],
        entries: dict[Key, tuple[str, Entry]],
    ) -> None:

        made = {o.job: o.result for o in outcomes if isinstance(o.result, Made)}
        self._bare = {job.still: result.bare for job, result in made.items()}
        self._small = {job.name: result.small for job, result in made.items()}
        self._failed = {o.job.still: str(o.result) for o in outcomes if o.state == "failed"}
        self._batch, self._entries = batch, entries

    def row(self, still: Path, columns: Sequence[str]) -> ContactRow:
        """Return the row of a still."""
        bare = self._copied(still, self._bare.get(still))
        if not bare.small and still in self._failed:
            reason = self._failed[still].removeprefix(f"{still}: ")
            bare = ContactCell(said=f"not made: {reason}")
        name = relative_name(still, self._batch.found.root)
        return ContactRow(name, bare, tuple(self._seen(still, looks) for looks in columns))

    def _seen(self, still: Path, looks: str) -> ContactCell:

        name, entry = self._entries.get((looks, still), ("", {}))
        if entry.get("state") != "done":
            return ContactCell()
        return self._copied(self._batch.folder / name, self._small.get(name))

    def _copied(self, path: Path, small: bytes | None) -> ContactCell:
        """Return a cell of a picture, read from its file where no copy is at hand."""
        if small:
            return ContactCell(small)
        try:
            return ContactCell(small_copy(fg.read_picture(path)))
        except FrontglassError as error:
            return ContactCell(said=str(error))
