"""Every JSON request of the page as data: routes, checks and the OpenAPI document are made from this one table."""

from __future__ import annotations

from typing import Any, Final, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field
from pydantic.json_schema import models_json_schema

from controller.link.messages import HistoryReply, LogKind
from controller.page.people import Role

RIG_PATTERN: Final = r"^[^/+#\x00-\x1f]{1,64}$"


class Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class LogIn(Body):
    name: str = Field(max_length=32)
    password: str = Field(max_length=256)


class Me(Body):
    name: str
    role: Literal["nobody", "viewer", "operator"]
    may: list[str] = Field(description="verbs that this role may ask; rig file and guard still decide")
    may_log: bool
    may_fault: bool
    secure: bool = Field(description="whether this page came over HTTPS")


class CommandWanted(Body):
    rig: str = Field(pattern=RIG_PATTERN)
    verb: str = Field(max_length=32)
    id: str = Field(
        pattern=r"^[0-9a-f]{16,32}$", description="made by the phone; the same id is asked of the guard once"
    )
    subject: str = Field(default="", max_length=120)
    text: str = Field(default="", max_length=300, description="the reason")
    number: float | None = None
    litres: float | None = Field(default=None, gt=0, le=100_000)
    hours: float | None = Field(default=None, gt=0, le=1000)


class CommandAnswer(Body):
    accepted: bool | None = Field(description="the guard's own word; null: no answer, so it is not known")
    why: str


class HistoryWanted(Body):
    rig: str = Field(pattern=RIG_PATTERN)
    what: Literal["trend", "events", "logbook", "incidents", "incident"]
    signals: list[str] = Field(default=[], max_length=8)
    from_s: float | None = None
    to_s: float | None = None
    points: int = Field(default=500, ge=2, le=2000)
    name: str = Field(default="", max_length=200)
    after: int = Field(default=0, ge=0)


class LogWanted(Body):
    rig: str = Field(pattern=RIG_PATTERN)
    kind: LogKind
    number: float | None = Field(default=None, ge=0, le=1_000_000)
    unit: str = Field(default="", max_length=12)
    side: Literal["", "hydrogen", "oxygen", "both"] = ""
    text: str = Field(default="", max_length=500)


class FaultWanted(Body):
    rig: str = Field(pattern=RIG_PATTERN)
    name: str = Field(max_length=80)
    clear: bool = False


class FaultNow(Body):
    name: str
    title: str
    active: bool


class Faults(Body):
    faults: list[FaultNow]


class Done(Body):
    done: bool = True


class Refusal(Body):
    why: str


class Request(NamedTuple):
    path: str
    method: str
    what: str
    role: Role  # the least that may; the table of verbs says more for commands
    rate: str
    body: type[Body] | None
    answer: type[BaseModel]


REQUESTS: Final = (
    Request("/api/me", "GET", "Who you are to this page, and what your role may ask", Role.NOBODY, "read", None, Me),
    Request("/api/login", "POST", "Begin a session; the token comes as a cookie", Role.NOBODY, "page", LogIn, Me),
    Request(
        "/api/logout", "POST", "End this session, everywhere its cookie was copied to", Role.NOBODY, "page", None, Done
    ),
    Request(
        "/api/history",
        "POST",
        "Trends, events, logbook, incidents, as the rig's historian has them",
        Role.VIEWER,
        "read",
        HistoryWanted,
        HistoryReply,
    ),
    Request(
        "/api/command",
        "POST",
        "Ask the guard for something; the answer is the guard's",
        Role.VIEWER,
        "ask",
        CommandWanted,
        CommandAnswer,
    ),
    Request("/api/logbook", "POST", "Write down what was done at the rig", Role.OPERATOR, "ask", LogWanted, Done),
    Request(
        "/api/faults/{rig}", "GET", "Faults that this simulated rig's bench can play", Role.VIEWER, "read", None, Faults
    ),
    Request(
        "/api/fault", "POST", "Cause or clear a fault, on a simulated rig only", Role.VIEWER, "ask", FaultWanted, Done
    ),
)

BODY_BYTES: Final = 16_384
_REFUSALS: Final = {
    "400": "not understood",
    "401": "log in",
    "403": "your role may not, or the request came from another site",
    "413": "too long",
    "429": "too often; see Retry-After",
    "503": "broker lost, or nobody answered",
}


def openapi(version: str) -> dict[str, Any]:
    """The OpenAPI 3.1 document."""
    models = {m for r in REQUESTS for m in (r.body, r.answer) if m is not None} | {Refusal}
    ordered = sorted(models, key=lambda m: m.__name__)
    names, schema = models_json_schema(
        [(m, "validation") for m in ordered], ref_template="#/components/schemas/{model}"
    )
    paths: dict[str, Any] = {}
    for request in REQUESTS:
        operation: dict[str, Any] = {
            "summary": request.what,
            "description": f"Least role: {request.role.name.lower()}.",
            "responses": {
                "200": {
                    "description": "done",
                    "content": {"application/json": {"schema": names[request.answer, "validation"]}},
                }
            }
            | {
                code: {"description": text, "content": {"application/json": {"schema": names[Refusal, "validation"]}}}
                for code, text in _REFUSALS.items()
            },
        }
        if request.body is not None:
            operation["requestBody"] = {
                "required": True,
                "content": {"application/json": {"schema": names[request.body, "validation"]}},
            }
        if "{rig}" in request.path:
            operation["parameters"] = [{"name": "rig", "in": "path", "required": True, "schema": {"type": "string"}}]
        paths.setdefault(request.path, {})[request.method.lower()] = operation
    paths["/live"] = {
        "get": {
            "summary": "Server-Sent Events: everything first (`all`), then differences (`d`), a beat each 2 s;"
            " `t` is the server's steady clock",
            "parameters": [{"name": "rig", "in": "query", "schema": {"type": "string"}}],
            "responses": {
                "200": {"description": "a stream", "content": {"text/event-stream": {"schema": {"type": "string"}}}}
            },
        }
    }
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Lyewatch page",
            "version": version,
            "description": "Requests that change anything must come from the page's own origin, as JSON.",
        },
        "paths": paths,
        "components": {
            "schemas": schema.get("$defs", {}),
            "securitySchemes": {"session": {"type": "apiKey", "in": "cookie", "name": "lyewatch"}},
        },
        "security": [{"session": []}, {}],
    }
