"""Which utility serves a home, through which meter."""

from __future__ import annotations

from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job
from jobs.core.refusals import Refused
from utilities import storms
from utilities.models import District, Service, Utility

RIGHT = "core.record_requests"


@act(right=RIGHT, on=Job)
def connect_service(
    job: Job,
    *,
    utility: Utility,
    by: Actor,
    district: District | None = None,
    meter_number: str = "",
    meter_form: str = "",
    account_number: str = "",
) -> Service:
    """Say which utility serves the home, through which meter. A home with two meters is connected twice."""
    return connect(job, utility=utility, district=district, meter_number=meter_number, meter_form=meter_form, account_number=account_number)


@act(right=RIGHT, on=Service)
def change_service(
    service: Service, *, by: Actor, district: District | None, meter_number: str, meter_form: str, account_number: str
) -> Service:
    """Correct what is on record of the meter: learned later, or exchanged by the utility."""
    _check_service(service.job, service.utility, district=district, meter_number=meter_number, other_than=service)
    service.district, service.meter_number, service.meter_form = district, meter_number.strip(), meter_form.strip()
    service.account_number = account_number.strip()
    service.save(update_fields=["district", "meter_number", "meter_form", "account_number"])
    storms.cover(service)
    return service


def connect(
    job: Job, *, utility: Utility, district: District | None = None, meter_number: str = "", meter_form: str = "", account_number: str = ""
) -> Service:
    _check_service(job, utility, district=district, meter_number=meter_number)
    made = Service.objects.create(
        job=job,
        utility=utility,
        district=district,
        meter_number=meter_number.strip(),
        meter_form=meter_form.strip(),
        account_number=account_number.strip(),
    )
    storms.cover(made)
    return made


def _check_service(job: Job, utility: Utility, *, district: District | None, meter_number: str, other_than: Service | None = None) -> None:
    if district is not None and district.utility_id != utility.pk:
        raise Refused(f"{district} is no district of {utility}; choose one of its own.", field="district")
    others = Service.objects.exclude(pk=other_than.pk) if other_than else Service.objects.all()
    if others.filter(job=job, utility=utility, meter_number=meter_number.strip()).exists():
        raise Refused(
            f"This home is connected to {utility} through this meter already; give the other meter's number.", field="meter_number"
        )
    elsewhere = others.filter(utility=utility, meter_number=meter_number.strip()).exclude(job__site=job.site).exclude(meter_number="")
    if (holder := elsewhere.select_related("job__site").first()) is not None:
        raise Refused(
            f"Meter {meter_number.strip()} of {utility} is on record for job {holder.job.code} at {holder.job.site.street}; "
            "read the number on the meter's face again.",
            field="meter_number",
        )
