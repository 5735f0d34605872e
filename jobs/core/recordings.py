"""What can be recorded on a job's page, one entry an act: its right, its form, its cautions and what is said afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jobs.core import custody, cutover, dayone, homefacts, intake, metering, secrets, sitephotos, sitevisit
from jobs.core import cutover_forms as c
from jobs.core import dayone_forms as d
from jobs.core import record_forms as f


@dataclass(frozen=True)
class Recording:
    title: str
    button: str
    right: str
    form: type[f.RecordForm]
    act: Callable[..., Any]
    cautions: tuple[str, ...] = ()
    part: str = "core/_record_form.html"
    battery_only: bool = False
    pv_only: bool = False
    result: str = ""  # the address of the page that shows what was computed, by the fact's uid
    leaves_no_way_back: bool = False


DAY_ONE = "core.record_day_one"

RECORDINGS: dict[str, Recording] = {
    "contract-signed": Recording("Contract signed", "Record contract", "core.add_jobs", f.DayForm, dayone.record_contract_signed),
    "assign": Recording("Crew and planned days", "Record plan", "core.assign_crew", f.AssignForm, intake.assign),
    "survey": Recording(
        "Meter and service surveyed",
        "Record survey",
        DAY_ONE,
        d.SurveyForm,
        sitevisit.record_surveyed,
        ("live_conductors", "generator", "seals"),
    ),
    "seal": Recording("Seal at the meter", "Record the seal", DAY_ONE, d.SealForm, sitevisit.record_seal, ("live_conductors", "seals")),
    "seal-reported": Recording(
        "Seal reported to the utility",
        "Record the report",
        "core.record_requests",
        d.SealReportedForm,
        sitevisit.record_seal_reported,
        ("seals",),
    ),
    "installed": Recording(
        "System installed", "Record installation", DAY_ONE, d.VisitForm, dayone.record_installed, ("live_conductors", "seals")
    ),
    "commissioned": Recording(
        "Commissioned grid-tied",
        "Record commissioning",
        DAY_ONE,
        d.CommissionedForm,
        dayone.record_commissioned,
        ("no_backup_yet", "before_permission", "seals"),
    ),
    "photos": Recording(
        "Photos by subject", "Record photos", DAY_ONE, d.PhotosForm, sitephotos.record_photos, ("live_conductors", "seals")
    ),
    "cts-fitted": Recording(
        "Consumption CTs fitted",
        "Record the CTs",
        DAY_ONE,
        d.CTsFittedForm,
        metering.record_cts_fitted,
        ("ct_secondaries", "seals"),
        battery_only=True,
    ),
    "ct-check": Recording(
        "Consumption-CT check",
        "Record readings",
        DAY_ONE,
        d.CTCheckForm,
        dayone.record_ct_check,
        ("readings", "ct_secondaries", "check_only", "seals"),
        part="core/_ct_form.html",
        battery_only=True,
        result="ct_check",
    ),
    "pv-check": Recording(
        "Consumption CTs when PV came on",
        "Record readings",
        DAY_ONE,
        d.PVCheckForm,
        metering.record_pv_check,
        ("readings", "check_only", "seals"),
        battery_only=True,
        pv_only=True,
    ),
    "meter-timed": Recording(
        "Utility meter timed",
        "Record timing",
        DAY_ONE,
        d.MeterTimedForm,
        metering.record_meter_timed,
        ("readings", "seals"),
    ),
    "collar-registered": Recording(
        "Collar registered in advance", "Record registration", "core.record_custody", f.RegisteredForm, dayone.record_collar_registered
    ),
    "collar-staged": Recording(
        "Collar staged",
        "Record staging",
        "core.record_custody",
        d.StagedForm,
        dayone.record_collar_staged,
        ("live_conductors", "utility_only", "seals"),
    ),
    "bag-seen": Recording(
        "Bag seen where it hangs",
        "Record photo",
        "core.record_custody",
        d.BagSeenForm,
        custody.record_bag_seen,
        ("live_conductors", "utility_only"),
    ),
    "collar-lost": Recording(
        "Collar missing or damaged",
        "Record what was found",
        "core.record_custody",
        d.CollarLostForm,
        custody.record_collar_lost,
        ("live_conductors", "utility_only"),
    ),
    "sheet-given": Recording("Hand-over sheet given", "Record sheet", DAY_ONE, d.SheetForm, dayone.record_sheet_given),
    "permission-to-operate": Recording(
        "Permission to operate", "Record permission", "core.record_papers", f.ReferenceForm, homefacts.record_permission_to_operate
    ),
    "final-inspection": Recording(
        "Final inspection passed", "Record inspection", "core.record_papers", f.ReferenceForm, homefacts.record_final_inspection
    ),
    "gateway-report": Recording("Gateway's report", "Record report", "core.record_gateway", f.GatewayForm, homefacts.record_gateway_report),
    "communications": Recording(
        "Communications seen live", "Record what was seen", "core.record_gateway", f.TimeForm, homefacts.record_communications
    ),
    "software-updated": Recording(
        "Software update confirmed", "Record update", "core.record_gateway", f.SoftwareForm, homefacts.record_software_updated
    ),
    "cut-over": Recording(
        "Metering cut over to the collar",
        "Record the cut-over",
        "core.record_gateway",
        c.CutOverForm,
        cutover.record_cut_over,
        ("ct_secondaries", "check_only"),
        battery_only=True,
        result="cut_over",
    ),
    "backup-limits": Recording(
        "Limits of the backup",
        "Record the limits",
        "core.record_gateway",
        c.BackupLimitsForm,
        cutover.record_backup_limits,
        ("check_only",),
        battery_only=True,
    ),
    "sheet-two-given": Recording(
        "Hand-over sheet two given", "Record sheet two", "core.record_gateway", c.SheetTwoForm, cutover.record_sheet_two_given
    ),
    "medical-answer": Recording(
        "Powered medical equipment", "Record answer", "core.record_medical", f.MedicalForm, homefacts.record_medical_answer, ("medical",)
    ),
    "removed": Recording("Collar removed", "Record removal", "core.record_requests", f.RemovedForm, homefacts.record_removed),
    "homeowner-told": Recording(
        "Homeowner told that there is no backup",
        "Record what was said",
        "core.record_requests",
        f.ToldForm,
        homefacts.record_homeowner_told,
    ),
    "hold": Recording("Put on hold", "Put on hold", "core.hold", f.HoldForm, homefacts.hold),
    "cancel": Recording("Cancel the job", "Cancel the job", "core.cancel_jobs", f.CancelForm, homefacts.cancel, leaves_no_way_back=True),
    "gate-code": Recording("Keep a gate code", "Keep the code", "core.reveal_codes", f.CodeForm, secrets.keep_code),
}
