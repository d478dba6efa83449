"""What every part of the settings file is made of: strict models, names, and where a secret is to be found."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from portdraw.plan import patterns

Name = Annotated[str, Field(pattern=patterns.PLAIN_NAME, max_length=80)]


class Part(BaseModel):
    """Base of every part of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, hide_input_in_errors=True)


class Secret(Part):
    """Where a secret is to be found: a file (relative to the settings file) or an environment variable."""

    file: str | None = None
    env: Annotated[str, Field(pattern=patterns.ENVIRONMENT_NAME)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _no_literal(cls, value: object) -> object:
        if not isinstance(value, dict):
            raise ValueError(
                "a secret never stands in this file: write {file: NAME} or {env: NAME}, "
                "and change the secret that stood here"
            )
        return value

    @model_validator(mode="after")
    def _one(self) -> Secret:
        if (self.file is None) == (self.env is None):
            raise ValueError("a secret is either {file: NAME} or {env: NAME}")
        return self
