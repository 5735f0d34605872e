"""Steps of a home until it waits: signed, built and checked on day one, its papers."""

from __future__ import annotations

import datetime as dt
import io
from functools import cache
from random import Random

from PIL import Image, ImageDraw

from billing import milestones
from billing.milestones import DEFAULT_PARTS, Part
from jobs.core import clock, ctcheck, dayone, homefacts, intake, phoneparts, words
from jobs.core.crewform import Seen
from jobs.core.ctcheck import Reading, StepTest, TwoSteps
from jobs.core.ctsignatures import Service
from jobs.core.dayone import Photo
from jobs.core.intake import NewHome
from jobs.core.kinds import PERMISSION_TO_OPERATE
from jobs.core.phoneparts import Sending
from jobs.pages.demo.company import user_of
from jobs.pages.demo.diary import workday
from jobs.pages.demo.habits import Grid
from jobs.pages.demo.papers import revision_of
from jobs.pages.demo.story import Home, Story, World, step
from utilities import meters

PLACES = (
    "left of the meter, at eye height", "inside the meter cabinet, on the hook", "right of the main panel, in its bag",
    "under the meter, tied to the conduit", "on the fence post beside the meter",
)  # fmt: skip

# A lender takes three draws; homeowners pay two parts, some a deposit besides.
WITH_DEPOSIT = (
    Part("Deposit", "Due when this contract is signed.", 100_000, ("contract_signed",), deposit=True),
    Part("Installation", "Due when the system is installed and commissioned grid-tied.", 700_000, ("grid_tied",)),
    Part("Final milestone", "Due when the backup function has been tested and verified.", 200_000, ("backup_verified",)),
)
OF_LENDER = (
    Part(
        "First draw",
        "Payable on completed installation.",
        600_000,
        ("grid_tied",),
        ("permission_to_operate",),
        payer_name="Funding 1",
        wants=("Signed certificate of completion",),
    ),
    Part("Second draw", "Payable when the utility has fitted the meter collar.", 250_000, ("collar_energized",), payer_name="Funding 2"),
    Part("Final draw", "Payable on the verified backup function.", 150_000, ("backup_verified",), payer_name="Final funding"),
)


def begin(world: World, grid: Grid, name: str, signed_on: dt.date, story: Story | None = None) -> Home:
    """A home whose contract is signed on that day; all else follows. `name` seeds its chances, whatever other homes there are."""
    draw = Random(f"home {name}")
    story, office = story or Story(), world.office
    north = draw.randrange(2) == 0 if story.north is None else story.north
    home = Home(
        world,
        grid,
        story,
        draw,
        crew=office.north if north else office.south,
        builder=office.joel if north else office.ruth,
        number=world.number(),
    )
    home.on(signed_on, "sign")
    return home


@step
def sign(home: Home) -> None:
    story, habit, draw, office = home.story, home.grid.habit, home.draw, home.office
    city, area = draw.choice(habit.cities), draw.choice(habit.areas)
    owner = home.world.cast.person(draw, area=area, name=story.name, language=story.language, email=story.email, relay=story.relay)
    install_on = story.install_on or workday(home.diary.day + dt.timedelta(days=draw.randint(16, 40)))
    new = NewHome(
        street=home.world.cast.street(draw, city),
        unit=story.unit,
        city=city,
        region=habit.region,
        postal_code=habit.postal,
        zone=habit.zone,
        owner=owner,
        access_note=story.access_note,
        contractor_number=f"{home.diary.day:%y}-{1000 + home.number}",
        has_battery=story.has_battery,
        service=story.service,
        install_on=install_on,
    )
    home.install_on = install_on
    home.job = intake.add_job(new, crew=home.crew, looked_after_by=user_of(office.theo), by=office.theo)
    for meter in range(story.meters):
        home.services.append(
            meters.connect_service(
                home.job,
                utility=home.grid.utility,
                district=home.grid.district(draw),
                meter_number=f"M{40_000 + 31 * home.number + meter * 5}",
                meter_form="2S",
                account_number=f"{700_000 + 113 * home.number}",
                by=office.paz,
            )
        )
    _plan(home)
    dayone.record_contract_signed(home.job, on=home.site_day, by=office.theo)
    home.then("bill", (1, 4))
    home.on(install_on, "build")


def _plan(home: Home) -> None:
    draw, office = home.draw, home.office
    lender = home.chance(22) if home.story.lender is None else home.story.lender
    milestones.set_plan(
        home.job,
        contract_minor=draw.randrange(2_180_000, 7_450_000),
        signed_on=home.site_day,
        parts=OF_LENDER if lender else WITH_DEPOSIT if home.chance(14) else DEFAULT_PARTS,
        payer=draw.choice(office.lenders) if lender else None,
        by=office.farida,
    )


@step
def build(home: Home) -> None:
    """Day one: all that the crew records before it leaves the home to wait."""
    day, by = home.site_day, home.builder
    dayone.record_installed(home.job, on=day, seal=home.story.seal, by=by)
    reserve = 20 if home.story.has_battery else None
    dayone.record_commissioned(home.job, on=day, mode="grid-tied", reserve_percent=reserve, communications="Wi-Fi", by=by)
    dayone.record_collar_registered(home.job, on=day, serial=home.serial, revision=revision_of(home.number), by=by)
    if home.story.has_battery:
        dayone.record_ct_check(home.job, on=day, tests=readings(home), by=by)
    stage(home)
    language = "Spanish" if home.story.language == "es" else "English"
    dayone.record_sheet_given(home.job, on=day, to="owner", language=language, by=by)
    if home.chance(60):
        home.then("inspect", (3, 16))
    home.then("permit", (8, 45))
    if home.story.ct_check == "consistent":
        home.then("ask", (1, 7))
        home.then("bill", (1, 6))


def second_phone(home: Home) -> None:
    """The crew's other phone had no reception: what it sends now is not what the first one recorded, and a person has to choose."""
    day = home.install_on
    assert day is not None
    contents = {
        "on": [words.day_short(day, today=dt.date.min)],
        "mode": ["grid-tied"],
        "reserve_percent": ["30"],
        "communications": ["Wi-Fi"],
    }
    given = {"on": day, "mode": "grid-tied", "reserve_percent": 30, "communications": "Wi-Fi"}
    saw = Seen.of(home.job, None).text()
    sending = Sending("commissioned", f"second phone {home.number}", saw, contents, filled_at=clock.now() - dt.timedelta(hours=30))
    phoneparts.receive(home.job, sending=sending, given=given, by=home.builder)


def stage(home: Home) -> None:
    dayone.record_collar_staged(
        home.job, on=home.site_day, place=home.draw.choice(PLACES), photo=photo(home.draw.randrange(6)), by=home.builder
    )


@step
def inspect(home: Home) -> None:
    homefacts.record_final_inspection(home.job, on=home.site_day, reference=f"INS-{home.number:04d}", by=home.office.paz)


@step
def permit(home: Home) -> None:
    if home.job.facts.standing().of_kind(PERMISSION_TO_OPERATE).exists():
        return
    homefacts.record_permission_to_operate(home.job, on=home.site_day, reference=f"PTO-{home.number:04d}", by=home.office.paz)


def readings(home: Home) -> TwoSteps:
    """Two steps with a heater, as a crew reads them: right ones, CT A the wrong way round, or a load too small to tell."""
    draw, kind = home.draw, home.story.ct_check
    load = draw.randrange(560, 720) if kind == ctcheck.Kind.CANNOT_TELL else draw.randrange(1_420, 1_620)
    turned = -1 if kind == ctcheck.Kind.INCONSISTENT else 1
    base_a, base_b = draw.randrange(160, 620), draw.randrange(160, 620)

    def reading(rise_a: int = 0, rise_b: int = 0) -> Reading:
        return Reading(base_a + rise_a + draw.randint(-8, 8), base_b + rise_b + draw.randint(-8, 8), pv_w=0, battery_w=0)

    def test(rise_a: int, rise_b: int) -> StepTest:
        return StepTest(reading(), reading(rise_a, rise_b), reading(), load_w=load)

    return TwoSteps(test(turned * load, 0), test(0, load), service=Service(home.story.service))


@cache
def photo(number: int) -> Photo:
    """A bag beside a meter, as well as a few rectangles can show it."""
    draw = Random(f"photo {number}")
    wall = tuple(draw.randrange(150, 215) for _ in range(3))
    picture = Image.new("RGB", (160, 120), wall)
    pen = ImageDraw.Draw(picture)
    left = 44 + draw.randrange(20)
    pen.rectangle((left, 18, left + 42, 74), fill=(132, 138, 142), outline=(70, 74, 78))
    pen.ellipse((left + 6, 22, left + 36, 52), fill=(222, 226, 228), outline=(70, 74, 78))
    pen.rectangle((left + 54, 44, left + 84, 92), fill=(240, 196, 60), outline=(120, 90, 20))
    pen.rectangle((left + 60, 54, left + 78, 66), fill=(250, 250, 245))
    data = io.BytesIO()
    picture.save(data, "PNG")
    return Photo(f"bag-{number + 1}.png", data.getvalue())
