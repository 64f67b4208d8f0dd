"""What every table of a rig file has in common: no unknown keys, numbers that are numbers, and bounds with a name."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field


class Table(BaseModel):
    """A table of the file: an unknown key is an error, and so is a number that is not one."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]+$")]
Text = Annotated[str, Field(min_length=3, max_length=2000)]
Number = Annotated[float, Field(ge=-1e6, le=1e6)]
Positive = Annotated[float, Field(gt=0.0, le=1e6)]
NotNegative = Annotated[float, Field(ge=0.0, le=1e6)]
Seconds = Annotated[float, Field(ge=0.0, le=1e6)]
Pin = Annotated[int, Field(ge=0, le=27, description="BCM number of a pin, 0 to 27")]
Pull = Literal["up", "down", "none"]
Level = Literal["low", "high"]
