"""The desk's page about club models over all customers, and its downloads."""

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from pipeline import archive, desk_models, model_findings
from pipeline.desk_forms import page
from pipeline.desk_models import Asked
from pipeline.desk_room import Room, today
from pipeline.errors import PipelineError, SettingsError, TooFewShotsError
from pipeline.rollup_records import ModelsFound


def routes(room: Room) -> list[Route]:
    """Give the addresses of this page and its downloads."""

    def clubs(request: Request) -> Response:
        asked = _asked(request)
        found, fault, code = _found(room, asked)
        said = desk_models.summary(found, room.settings, today()) if found else []
        return page(
            room, request, "clubs", code, asked=asked, kinds=desk_models.KINDS, by=desk_models.BY, summary=said,
            fault=fault, drifting=archive.drifting(room.ledger), found=found is not None, here="/clubs",
        )  # fmt: skip

    async def download(request: Request) -> Response:
        return await run_in_threadpool(_download, room, request)

    return [Route("/clubs", clubs), Route("/clubs/{file}", download)]


def _asked(request: Request) -> Asked:
    return desk_models.asked(request.query_params, request.query_params.getlist("by"))


def _found(room: Room, asked: Asked) -> tuple[ModelsFound | None, str, int]:
    """Work it out; else why not, and the page's code."""
    try:
        wanted = desk_models.wanted(asked)
        return model_findings.found(room.place, room.settings, room.ledger, wanted), "", 200
    except SettingsError as fault:
        return None, str(fault), 422
    except TooFewShotsError as fault:
        if str(fault) == model_findings.nothing_kept(room.place.root):
            return None, "No shots are kept yet. This page fills as visits get their reports.", 200
        return None, desk_models.none_found(str(fault)), 200
    except PipelineError as fault:
        return None, str(fault), 500


def _download(room: Room, request: Request) -> Response:
    name = request.path_params["file"]
    if name not in ("page", *(f"models.{ending}" for ending in desk_models.TYPES)):
        raise HTTPException(404, "There is no such page.")
    found, fault, _ = _found(room, _asked(request))
    if found is None:
        raise HTTPException(422, fault)
    if name == "page":
        html = desk_models.screen(found, room.settings, today())
        return HTMLResponse(html, headers={"content-security-policy": desk_models.PAGE_POLICY})
    ending = name.rpartition(".")[2]
    if ending == "pdf":
        paper = desk_models.paper(found, room.settings, today())
        content = room.side.draw(paper, f"models {found.first_month} {found.last_month}")
    else:
        content = desk_models.handed_out(ending, found, room.settings, today())
    kept = {"content-disposition": f'attachment; filename="{desk_models.file_name(found, ending)}"'}
    return Response(content, media_type=desk_models.TYPES[ending], headers=kept)
