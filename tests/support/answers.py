"""What commands print for programs, held to the published schemas."""

import json
from functools import cache
from typing import Any

import jsonschema
from referencing import Registry, Resource

from commands import run
from trialkit._resources import resource_folder

BESIDE = ("results", "recommended")
"""Schemas that the one of answers refers to."""


def schema_of(name: str) -> dict[str, Any]:
    """Read a published schema."""
    return dict(json.loads((resource_folder("schemas") / f"{name}.schema.json").read_text("utf-8")))


@cache
def _validator() -> jsonschema.Draft202012Validator:
    others = [(schema["$id"], Resource.from_contents(schema)) for schema in map(schema_of, BESIDE)]
    return jsonschema.Draft202012Validator(schema_of("answers"), registry=Registry().with_resources(others))


def told(*arguments: Any, **how: Any) -> dict[str, Any]:
    """Run a command for a program: all of its standard output is one document, by the published schema."""
    done = run(*arguments, "--json", **how)
    document = dict(json.loads(done.stdout))
    _validator().validate(document)
    assert document["exit_status"] == done.returncode, document
    assert (document["failure"] is None) == (done.returncode == 0), document
    return document
