"""The session: one visit of one client on one set-up."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictBool, StrictInt

from fitkit.session.bike import Bike, Moved, Photograph, Position, Ride, Trial, Wish
from fitkit.session.fields import Day, Identifier, Moment, Part, SaidText, Text, asked, listed, needed
from fitkit.session.rider import Complaint, Rider, Seen, Shoes, Sign
from fitkit.vocabulary import VERSION, Format, TakenHow


class Struck(Part):
    """A reading that no longer counts, and why."""

    field: SaidText = needed("Field", "Dotted path of the list of readings")
    index: StrictInt = needed("Index", "Which reading, the first is 0")
    reason: SaidText = needed("Reason", "Why it does not count")


class Consent(Part):
    """What the rider agreed to."""

    record: StrictBool | None = asked("Record", "To keep this record")
    film: StrictBool | None = asked("Film", "To be filmed")
    photograph: StrictBool | None = asked("Photograph", "To be photographed")
    learning: StrictBool | None = asked("Learning", "To be counted in the clinic's own results")


class Amendment(Part):
    """A change made after sign-off."""

    fitter_id: Identifier = needed("Amended by", "The fitter's id")
    at: Moment = needed("Amended at", "Date and time")
    reason: SaidText = needed("Reason", "Why it was changed")
    fields: tuple[SaidText, ...] = listed("Fields changed", "Dotted paths")


class SignOff(Part):
    """Who signed the visit off, when, and what was amended since."""

    fitter_id: Identifier = needed("Signed off by", "The fitter's id")
    at: Moment = needed("Signed off at", "Date and time")
    reason: SaidText | None = asked("Signed off although", "Why, where something is not safe")
    starts_mm: Moved = Moved()
    amendments: tuple[Amendment, ...] = listed("Amendments")


class SinceLast(Part):
    """How it went since the visit before."""

    kept: StrictBool | None = asked("Kept since last", "Whether the rider kept the settings")
    complaints: tuple[Complaint, ...] = listed("Complaints since last")
    date: Day | None = asked("Asked on", "Day the rider was asked")


def _drop_null(data: Any) -> Any:
    return {key: how for key, how in data.items() if how is not None} if isinstance(data, dict) else data


class Session(Part):
    """One visit of one client on one set-up, as in its file; dates are ISO 8601 text."""

    format: Format = Field(title="Format")
    version: Annotated[StrictInt, Field(ge=VERSION, le=VERSION)] = Field(title="Version of the format")
    client_id: Identifier = needed("Client", "The clinic's id of the client, never a name")
    visit_date: Day = needed("Visit", "Day of the visit")
    setup: Identifier = needed("Set-up", "Which bicycle and shoes, in a word, like road")
    fitter_id: Identifier | None = asked("Fitter", "The fitter's id")
    demonstration: StrictBool | None = asked("Demonstration", "Whether the rider is invented")
    follow_up_due: Day | None = asked("Follow-up due", "Day the rider is asked to come again")
    note: Text | None = asked("Remark on the visit", "In words; no names")
    signs_asked: StrictBool | None = asked("Signs asked", "Whether all signs were asked about")
    seen_asked: StrictBool | None = asked("Watched riding", "Whether the rider was watched as found")
    rider: Rider = Rider()
    seen: tuple[Seen, ...] = listed("Seen riding as found")
    complaints: tuple[Complaint, ...] = listed("Complaints")
    signs: tuple[Sign, ...] = listed("Signs")
    shoes: Shoes = Shoes()
    bike: Bike = Bike()
    ride: Ride = Ride()
    as_found: Position = Position()
    trials: tuple[Trial, ...] = listed("Trials")
    decided: Position = Position()
    as_left: Position = Position()
    wish: Wish = Wish()
    taken: Annotated[dict[str, TakenHow], BeforeValidator(_drop_null)] = asked(
        "How repeats were taken", "By dotted path of the readings", default={}
    )
    struck: tuple[Struck, ...] = listed("Readings struck out")
    photographs: tuple[Photograph, ...] = listed("Photographs")
    consent: Consent = Consent()
    sign_off: SignOff | None = None
    since_last: SinceLast = SinceLast()
