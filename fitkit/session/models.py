"""The session: one visit of one client on one set-up."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictBool, StrictInt

from fitkit.session.bike import Bike, Moved, Photograph, Position, Ride, Trial, Wish
from fitkit.session.fields import Day, Identifier, Moment, Part, SaidText, Text
from fitkit.session.rider import Complaint, Rider, Seen, Shoes, Sign
from fitkit.vocabulary import VERSION, Format, TakenHow

__all__ = ["Amendment", "Consent", "Session", "SignOff", "SinceLast", "Struck"]


class Struck(Part):
    """A reading that no longer counts, and why."""

    field: SaidText = Field(title="Field", description="Dotted path of the list of readings")
    index: StrictInt = Field(title="Index", description="Which reading, the first is 0")
    reason: SaidText = Field(title="Reason", description="Why it does not count")


class Consent(Part):
    """What the rider agreed to."""

    record: StrictBool | None = Field(None, title="Record", description="To keep this record")
    film: StrictBool | None = Field(None, title="Film", description="To be filmed")
    photograph: StrictBool | None = Field(None, title="Photograph", description="To be photographed")
    learning: StrictBool | None = Field(None, title="Learning", description="To be counted in the clinic's own results")


class Amendment(Part):
    """A change made after sign-off."""

    fitter_id: Identifier = Field(title="Amended by", description="The fitter's id")
    at: Moment = Field(title="Amended at", description="Date and time")
    reason: SaidText = Field(title="Reason", description="Why it was changed")
    fields: tuple[SaidText, ...] = Field((), title="Fields changed", description="Dotted paths", strict=False)


class SignOff(Part):
    """Who signed the visit off, when, and what was amended since."""

    fitter_id: Identifier = Field(title="Signed off by", description="The fitter's id")
    at: Moment = Field(title="Signed off at", description="Date and time")
    reason: SaidText | None = Field(None, title="Signed off although", description="Why, where something is not safe")
    starts_mm: Moved = Moved()
    amendments: tuple[Amendment, ...] = Field((), title="Amendments", strict=False)


class SinceLast(Part):
    """How it went since the visit before."""

    kept: StrictBool | None = Field(None, title="Kept since last", description="Whether the rider kept the settings")
    complaints: tuple[Complaint, ...] = Field((), title="Complaints since last", strict=False)
    date: Day | None = Field(None, title="Asked on", description="Day the rider was asked")


def _drop_null(data: Any) -> Any:
    return {key: how for key, how in data.items() if how is not None} if isinstance(data, dict) else data


class Session(Part):
    """One visit of one client on one set-up, as in its file; dates are ISO 8601 text."""

    format: Format = Field(title="Format")
    version: Annotated[StrictInt, Field(ge=VERSION, le=VERSION)] = Field(title="Version of the format")
    client_id: Identifier = Field(title="Client", description="The clinic's id of the client, never a name")
    visit_date: Day = Field(title="Visit", description="Day of the visit")
    setup: Identifier = Field(title="Set-up", description="Which bicycle and shoes, in a word, like road")
    fitter_id: Identifier | None = Field(None, title="Fitter", description="The fitter's id")
    demonstration: StrictBool | None = Field(None, title="Demonstration", description="Whether the rider is invented")
    follow_up_due: Day | None = Field(None, title="Follow-up due", description="Day the rider is asked to come again")
    note: Text | None = Field(None, title="Remark on the visit", description="In words; no names")
    signs_asked: StrictBool | None = Field(None, title="Signs asked", description="Whether all signs were asked about")
    seen_asked: StrictBool | None = Field(
        None, title="Watched riding", description="Whether the rider was watched as found"
    )
    rider: Rider = Rider()
    seen: tuple[Seen, ...] = Field((), title="Seen riding as found", strict=False)
    complaints: tuple[Complaint, ...] = Field((), title="Complaints", strict=False)
    signs: tuple[Sign, ...] = Field((), title="Signs", strict=False)
    shoes: Shoes = Shoes()
    bike: Bike = Bike()
    ride: Ride = Ride()
    as_found: Position = Position()
    trials: tuple[Trial, ...] = Field((), title="Trials", strict=False)
    decided: Position = Position()
    as_left: Position = Position()
    wish: Wish = Wish()
    taken: Annotated[dict[str, TakenHow], BeforeValidator(_drop_null)] = Field(
        {}, title="How repeats were taken", description="By dotted path of the readings"
    )
    struck: tuple[Struck, ...] = Field((), title="Readings struck out", strict=False)
    photographs: tuple[Photograph, ...] = Field((), title="Photographs", strict=False)
    consent: Consent = Consent()
    sign_off: SignOff | None = None
    since_last: SinceLast = SinceLast()
