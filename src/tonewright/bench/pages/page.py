"""What the pages of a paper have in common."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from nicegui import ui

from tonewright.bench.frame import Foot, address, paper_title
from tonewright.bench.parts.corners import Corners, Sought
from tonewright.bench.parts.field import Fault, Field, Refusal, Ticks
from tonewright.bench.parts.result import show_result
from tonewright.bench.parts.tags import Tag, button, link
from tonewright.bench.state import Bench
from tonewright.bench.tasks.views import View
from tonewright.bench.transfer import file_address
from tonewright.bench.worker import Cancelled, Overtaken
from tonewright.errors import FileError, OptionError, TonewrightError
from tonewright.files.contents import Holds, foreign_images, tables
from tonewright.files.papers import Kind
from tonewright.files.preview import preview_scan
from tonewright.shelf.way import Aside, Step

_T = TypeVar("_T")
NAMED = ("output_exists", "name_unusable", "outside_folder")
"""Codes of errors that the name of what is kept is at fault of."""
_CHANNELS = {"": "luminance", "red": "red", "green": "green", "blue": "blue"}


class Page:
    """One open page of a paper: a large part, and what it is made from at its side."""

    intro: ClassVar[str] = ""
    """What it is for."""
    parts: ClassVar[tuple[str, str]]
    """What the two parts are called, for who does not see them."""
    result: Tag
    """Beside the picture: what was found."""
    kept: Tag
    """At the side: what was written."""
    refused: Refusal
    """Where it is said why something was refused."""

    def __init__(self, bench: Bench, paper: str, foot: Foot) -> None:
        self.bench, self.paper, self.foot = bench, paper, foot
        self.papers = bench.papers
        self._client = ui.context.client
        self._listing: list[Field | Ticks] = []
        self._names: list[NameField] = []
        self._newest = object()
        foot.calls.append(self.files_changed)
        if self.intro:
            Tag("p", self.intro)
        with Tag("div", classes="plot-and-side"):
            for label, build, ends in zip(self.parts, (self.build, self.build_side),
                                          ("result", "kept"), strict=True):
                with Tag("section", aria_label=label):
                    build()
                    if not hasattr(self, ends):
                        setattr(self, ends, Tag("div", aria_live="polite"))
        self.begin()

    def build(self) -> None:
        """Put the large part together; `result` ends it, unless it has a place of its own."""
        raise NotImplementedError

    def build_side(self) -> None:
        """Put the side together; `kept` ends it, unless it has a place of its own."""
        raise NotImplementedError

    def begin(self) -> None:
        """Say what there is to say of the page as it is opened."""
        self.changed()

    async def redraw(self) -> None:
        """Say anew what the fields say; some pages wait for a button."""

    def changed(self) -> None:
        """A field has changed."""
        self.soon(self.redraw)

    @property
    def title(self) -> str:
        """What files of this paper are called after."""
        return paper_title(self.bench, self.paper)

    def name_field(self, label: str, ending: str, otherwise: str, **more: Any) -> NameField:
        """What is kept is called by this, with an ending of its own, or ``otherwise`` where nothing
        is typed; at first by the paper's name."""
        stem = more.pop("stem", self.title)
        field = NameField(label, self.free(stem + ending).removesuffix(ending), **more)
        field.ending, field.otherwise = ending, otherwise
        self._names.append(field)
        return field

    def printed_field(self) -> Field:
        """The day of a print that a document is made from."""
        return Field("Printed on", date.today().isoformat(), on_change=self.changed,
                     hint="Its age counts from this day. Leave blank if you do not know it")

    def file_field(
        self, label: str, find: Kind | Callable[[], list[str]], none: str | None = None,
        value: str | None = None, **more: Any,
    ) -> Field:
        """A choice of files, which follows what comes into the folder and what goes.

        Parameters
        ----------
        find:
            A kind, or what lists them.
        none:
            What stands for none of them; None: one is chosen.
        value:
            What is chosen at first; None: the first of them.
        """
        def files() -> dict[str, str]:
            names = find() if callable(find) else self.names(find)
            return ({} if none is None else {"": none}) | {name: name for name in names}

        return self._listed(label, files, value, **more)

    def _listed(
        self, label: str, files: Callable[[], dict[str, str]], value: str | None, **more: Any
    ) -> Field:
        if value is None:
            value = next(filter(None, files()), "")
        field = Field(label, value, choices=files, **{"on_change": self.changed} | more)
        self._listing.append(field)
        return field

    def ticks(self, files: Callable[[], list[str]], **more: Any) -> Ticks:
        """Files to tick, which follow the folder as well."""
        ticks = Ticks(files, **more)
        self._listing.append(ticks)
        return ticks

    def files_changed(self) -> Any:
        """Something in the folder has changed."""
        self._listing = [field for field in self._listing if not field.box.is_deleted]
        for field in self._listing:
            field.renew()

    def scan_field(self, value: str, **more: Any) -> Field:
        """The scan to read."""
        return self.file_field("Scan", self.scans, "choose", value, **more)

    def flat_field(
        self, value: str = "", with_it: str = "with the same settings", **more: Any
    ) -> Field:
        """The scan that evens out the lamp."""
        return self.file_field("Scan of a plain white sheet", self.scans, "none", value,
                               hint=f"Scanned {with_it}; corrects uneven light", **more)

    def scanner_field(self, value: str | None = None, none: str = "none", **more: Any) -> Field:
        """The scanner's response, at first the newest, and the way to calibrate one."""
        known = self.scanners()
        field = self._listed("Scanner", lambda: {"": none} | self.scanners(),
                             value if value in ("", *known) else None, **more)
        link("Calibrate it with a gray scale", address(self.paper, "scanner"), "beside")
        return field

    def channel_field(self, **more: Any) -> Field:
        """What is read of a colour scan."""
        return Field("Channel of a colour scan", "", choices=_CHANNELS, **more)

    def corners(self, sought: Sought, read: Callable[[], Any], box: Tag | None = None) -> Corners:
        """Four places of a scan to be set by hand."""
        return Corners(sought, partial(self.bench.long.call, preview_scan), read, box)

    def show_result(self, view: View, label: str = "") -> None:
        """A result beside its picture; ``label`` names its one figure."""
        with self.result.anew():
            show_result(view, label)

    def say_kept(self, said: str, step: Step | Aside) -> None:
        """What was written; the foot of the page leads on."""
        with self.kept.anew():
            Tag("p", said)
        self.foot.lead_to(step)
        self.kept.reveal()

    def offer(self, box: Tag, target: str) -> None:
        """The files of a target that was drawn, to be printed and filled in; the foot of the page
        leads on to reading its print."""
        with box.anew():
            for ending, what in ((".tif", "The negative, to print on film"),
                                 (".csv", "A blank table, to fill in by hand")):
                with Tag("p"):
                    link(f"{what} ({target}{ending})", file_address(self.paper, target + ending),
                         download="")
        self.foot.lead_to("read")
        box.reveal()

    def below(self, name: str) -> Path:
        """A file of the paper, counted from the bench's folder."""
        return self._within(self.paper, name)

    def chosen(self, field: Field) -> Path | None:
        """The same of the file that is chosen in a field; None where none is."""
        return self.below(field.value) if field.value else None

    def _within(self, paper: str, name: str) -> Path:
        return self.papers.inside(paper, name).relative_to(self.papers.root)

    def setup(self) -> Path | None:
        """The file that says what the paper is used with."""
        return self.papers.relative(self.papers.setup(self.paper))

    def names(self, kind: Kind) -> list[str]:
        """Files of a kind, the newest first."""
        return [file.name for file in self.papers.newest(self.paper, kind)]

    def holding(self, holds: Holds) -> list[str]:
        """Tables that hold this, the newest first."""
        return tables(self.papers, self.paper, holds)

    def scans(self) -> list[str]:
        """Pictures that may be scans: nothing that was made here."""
        return foreign_images(self.papers, self.paper)

    def scanners(self) -> dict[str, str]:
        """Scanner responses of all papers, this one's first: a scanner serves them all."""
        order = sorted(self.papers.names(), key=lambda paper: paper != self.paper)
        return {f"{paper}/{f.name}": f.name if paper == self.paper else
                f"{f.name} of {paper_title(self.bench, paper)}"
                for paper in order for f in self.papers.files(paper) if f.kind == "scanner"}

    def of_any_paper(self, value: str) -> Path | None:
        """A file that is called by its paper and its name, counted from the bench's folder."""
        paper, _, name = value.partition("/")
        return self._within(paper, name) if value else None

    def free(self, name: str) -> str:
        """A name that no file has yet."""
        return self.papers.free_name(self.paper, name)

    @contextmanager
    def asked(self, refusal: Refusal, otherwise: Fault | None = None) -> Iterator[None]:
        """Around what the fields ask for: where it is refused, that is said, ``otherwise`` if it
        concerns no field of its own, until it is done or refused for another reason.  What was
        asked before is overtaken."""
        self._newest = object()
        with self._work(refusal, otherwise):
            yield

    async def find(self, function: Callable[..., _T], *args: Any) -> _T:
        """What the quick worker finds; `Overtaken` where the fields ask for something else by then,
        which may have been refused already."""
        mine = self._newest
        try:
            found = await self.bench.quick.call_newest(self, function, *args)
        except TonewrightError:
            if self._newest is mine:
                raise
        if self._newest is not mine:
            raise Overtaken
        return found

    @contextmanager
    def pressed(
        self, refusal: Refusal | None = None, otherwise: Fault | None = None
    ) -> Iterator[None]:
        """The same at the press of a button: what was refused before is said anew if need be."""
        refusal = refusal or self.refused
        refusal.clear()
        with self._work(refusal, otherwise):
            yield

    @contextmanager
    def _work(self, refusal: Refusal, otherwise: Fault | None) -> Iterator[None]:
        """Say why some work was refused, until some is not."""
        try:
            yield
            refusal.clear()
        except TonewrightError as error:
            refusal.show(self._with_free_name(error), otherwise)
        except Cancelled:
            refusal.clear()
        except Overtaken:
            pass

    def _with_free_name(self, error: TonewrightError) -> TonewrightError:
        """A page replaces no file: it offers a name that is free."""
        if error.code != "output_exists":
            return error
        free = [free for field in self._names if (
            free := self.free(field.text + field.ending).removesuffix(field.ending)) != field.text]
        return FileError(error.given, "the bench never replaces a file",
                         f"keep it as {free[0]}" if free else "give it another name",
                         code=error.code)

    def soon(self, call: Callable[[], Any]) -> None:
        """Call as soon as the event that is being handled is over; what sent it may be gone."""
        with self._client:
            ui.timer(0.001, call, once=True)


class NameField(Field):
    """What a file is called."""

    ending: str
    """Of the file."""
    otherwise: str
    """What it is called where nothing is typed."""

    @property
    def name(self) -> str:
        """Without its ending."""
        return self.text or self.otherwise

    @property
    def file(self) -> str:
        """With it."""
        return self.name + self.ending


def number(field: Field, what: str, code: str, rule: str, way_out: str) -> float | None:
    """The number that is typed, with a point or a comma; None where nothing is.  `OptionError`
    with the code where it is none."""
    try:
        return float(field.text.replace(",", ".")) if field.text else None
    except ValueError:
        raise OptionError(f"{field.text} is typed for {what}", rule, way_out, code=code) from None


@contextmanager
def more() -> Iterator[None]:
    """What few prints need, folded in."""
    with Tag("details"):
        Tag("summary", "More")
        yield


class WhichScan:
    """A scan that comes while another is chosen may be that of the plain white sheet: it is
    asked.

    Parameters
    ----------
    take:
        Told a name, and whether that is the plain sheet's; gives the field that it went to.
    """

    def __init__(self, take: Callable[[str, bool], Field]) -> None:
        self._take = take
        self._box = Tag("div", role="group", aria_label="What the scan is")

    def ask(self, name: str, chosen: str) -> None:
        """Ask what a file is, and what the one becomes that is chosen."""
        with self._box.anew():
            Tag("p", f"{name} is in the paper's folder. {chosen} is still the scan to read. What is"
                f" {name}?", role="status")
            with Tag("div", classes="buttons"):
                button("The plain white sheet", lambda: self._answer((name, True)))
                button("The scan to read", lambda: self._answer((name, False)))
                button(f"The scan to read; {chosen} is the plain white sheet",
                       lambda: self._answer((name, False), (chosen, True)))
        self._box.reveal()

    def _answer(self, *taken: tuple[str, bool]) -> None:
        self._box.clear()
        fields = [self._take(name, plain) for name, plain in taken]
        fields[0].box.enter()  # what was pressed is gone


class Working:
    """How far a long piece of work is, with a button to stop it."""

    def __init__(self, stop: Callable[[], Any]) -> None:
        with Tag("div", classes="working") as self._box:
            self._said = Tag("p", "", aria_live="polite")
            self._bar = Tag("progress", max="1", aria_label="How far the work is")
            button("Stop", stop)
        self._box.set_visibility(False)

    @contextmanager
    def on(self, said: str) -> Iterator[None]:
        """Show it around some work."""
        self._said.say(said)
        self._bar.props.pop("value", None)
        self._box.set_visibility(True)
        try:
            yield
        finally:
            self._box.set_visibility(False)

    def show(self, done: int, total: int) -> None:
        """So much is done, of so much."""
        if total:
            self._bar.props.update({"value": str(done / total)})
