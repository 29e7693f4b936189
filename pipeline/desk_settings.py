"""The desk's page of settings: studio.toml as a form, and what staff answered about layouts of shot files."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import branding, database, desk_answers, settings_form, studio
from pipeline import settings as settings_module
from pipeline.branding import Logo
from pipeline.desk_answers import Answered
from pipeline.desk_forms import back, field, page, posted
from pipeline.desk_room import Room
from pipeline.errors import ReportError, SettingsError
from pipeline.resources import table
from pipeline.settings import Settings

PLACE = "/settings"
_CONFLICT = 409


def routes(room: Room) -> list[Route]:
    """Give the addresses of this page and its forms."""

    def shown(request: Request) -> Response:
        return _page(room, request)

    def save(request: Request, form: FormData) -> Response:
        return _save(room, request, form)

    def sure(request: Request) -> Response:
        answered = _answered(room, request)
        return page(room, request, "answers_forget", answered=answered, here="")

    def forget(request: Request, form: FormData) -> Response:
        return _forget(room, request, form)

    return [
        Route(PLACE, shown),
        Route(PLACE, posted(save), methods=["POST"]),
        Route(PLACE + "/answers/{name}", sure),
        Route(PLACE + "/answers/{name}/forget", posted(forget), methods=["POST"]),
    ]


def _page(
    room: Room, request: Request, code: int = 200, /, typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None, fault: str = "",
) -> Response:  # fmt: skip
    kept = settings_form.kept(room.place)
    try:
        now_kept = settings_form.shown(settings_form.document(kept.content))
    except SettingsError as unreadable:
        now_kept, fault = None, fault or f"{unreadable} Mend it in a text editor; nothing is changed from here."
    return page(
        room, request, "settings", code, groups=settings_form.groups(), fields=typed or now_kept,
        kept=now_kept if code == _CONFLICT else None, mark=kept.mark, faults=faults or {}, fault=fault, here=PLACE,
        beside=room.own is None, path=str(settings_form.path(room.place)), changed=_changed_by_hand(room),
        label=settings_form.label_of, answers=desk_answers.listed(room.place),
    )  # fmt: skip


def _changed_by_hand(room: Room) -> bool:
    """Tell whether the file says something else than what the desk works with."""
    try:
        return _as_it_runs(room, studio.settings_of(room.place)) != room.settings
    except SettingsError:
        return False  # the page says so at its top


def _as_it_runs(room: Room, found: Settings) -> Settings:
    """Give settings with the running places of ledger and archive, which change at the next start alone."""
    return replace(found, **{key: getattr(room.settings, key) for key in settings_form.at_start()})


# --- saving -----------------------------------------------------------------------------------------------------------
def _save(room: Room, request: Request, form: FormData) -> Response:
    """Write the file and go on with it; nobody's earlier change is lost, and nothing typed is."""
    typed = {key: field(form, key).replace("\r\n", "\n") for key in table("settings")}
    with room.writing:
        kept = settings_form.kept(room.place)
        if field(form, "mark") != kept.mark:
            if settings_form.is_kept(kept.content, typed):  # the button pressed twice
                return back(request, PLACE, "Saved.")
            fault = (
                "studio.toml was changed while you were at it, so yours was not saved. Under each field that differs "
                "stands what is kept now. Take over what is right, then press Save again."
            )
            return _page(room, request, _CONFLICT, typed=typed, fault=fault)
        try:
            changed = settings_form.changed(kept.content, typed)
            faults = dict(changed.faults)
            found = settings_module.load(changed.text) if not faults else room.settings
            logo = _logo(room, found, faults) if not faults else None
            _check_ledger(room, found, faults)
        except SettingsError as fault:
            return _page(room, request, 422, typed=typed, fault=f"{fault} Nothing was saved.")
        if faults:
            if "ledger" in faults:  # there may be a password in it
                typed["ledger"] = ""
            return _page(room, request, 422, typed=typed, faults=faults)
        aside = "" if changed.remarks_kept else settings_form.set_aside(room.place, kept.content)
        if changed.text.encode() != kept.content:
            settings_form.write(room.place, changed.text)
        before, waits = room.settings, _waits(room, found)
        room.take_up(_as_it_runs(room, found), logo)
    room.wake()
    said = _said(room, before, waits, aside, same=changed.text.encode() == kept.content)
    return back(request, PLACE, said)


def _logo(room: Room, found: Settings, faults: dict[str, str]) -> Logo | None:
    """Read and draw the logo, as at the start: a faulty one must stand in no report's way."""
    try:
        logo = studio.logo(room.place, found)
        if logo:
            room.side.draw(branding.page(logo), "logo")
    except SettingsError as fault:
        faults["logo"] = str(fault)
    except ReportError:
        faults["logo"] = "It cannot be drawn. Save it simpler, or leave the field empty."
    else:
        return logo
    return None


def _check_ledger(room: Room, found: Settings, faults: dict[str, str]) -> None:
    """Refuse an address of a ledger with which the desk could not be started again."""
    if found.ledger != room.settings.ledger:
        try:
            database.url(replace(found, ledger_password_file=""), room.place.root, {})
        except SettingsError as fault:
            faults["ledger"] = str(fault).partition("studio.toml: ")[2] or str(fault)


def _waits(room: Room, found: Settings) -> list[str]:
    """Name the settings that wait for the next start."""
    differing = [key for key in settings_form.at_start() if getattr(found, key) != getattr(room.settings, key)]
    return [settings_form.label_of(key) for key in differing]


def _said(room: Room, before: Settings, waits: list[str], aside: str, *, same: bool) -> str:
    said = ["Nothing has changed." if same and before == room.settings else "Saved."]
    if before != room.settings:
        said.append("New reports have it; one made before has it when its next version is made.")
        if room.own is None:
            said.append("The watcher beside this desk takes it up when it is started again.")
    if waits:
        said.append(f"When the desk is started again: {', '.join(waits)}.")
    if aside:
        said.append(f"Your remarks could not stay in the file: it lies as it was in “{aside}”.")
    return " ".join(said)


# --- answers ----------------------------------------------------------------------------------------------------------
def _answered(room: Room, request: Request) -> Answered:
    found = [one for one in desk_answers.listed(room.place) if one.file == request.path_params["name"]]
    if not found:
        raise HTTPException(404, "There is no such answer any more.")
    return found[0]


def _forget(room: Room, request: Request, form: FormData) -> Response:
    """Move an answer aside; files with its headings are asked about again."""
    with room.writing:
        answered = _answered(room, request)
        if field(form, "mark") != answered.mark:
            return back(request, PLACE, f"“{answered.name}” was changed meanwhile, so it was kept. Look at it again.")
        desk_answers.forget(room.place, answered, dt.datetime.now(dt.UTC).astimezone().date())
    room.wake()
    return back(request, PLACE, f"Forgotten: “{answered.name}”. The next file with these headings is asked about.")
