"""Hand-over sheet one: what a home is told on the day it is built, in English or Spanish. Plain values in, bytes out.

Twelve points, one subject a block, the notice first, telephone numbers large. It says nothing that the home's facts do not bear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.core import cautions
from jobs.core.cautions import Kind
from jobs.core.papers import fonts
from jobs.core.papers.cautionbox import CautionBox
from jobs.core.papers.sheet import Block, Cells, Entry, Stack, Text, plain, sheet, style
from jobs.core.words import Lang


@dataclass(frozen=True)
class Handover:
    lang: Lang
    company: str
    phone: str  # as it is read out; "" where none is on record
    job: str
    home: str
    given_on: str  # in words of the language
    utility: str  # its name; "" where none is entered
    utility_phone: str  # its emergency line
    who_may_fit: str  # of the profile, in its words; "" where only the utility's own people may
    bag: str  # where the bag hangs; "" where none does
    has_battery: bool
    permitted: bool  # the utility's permission to operate is on record
    days: str = ""  # "half of such requests are fitted by ..."; "" where nothing is known


_BODY: Final = style(12, leading=16)
_H2: Final = style(14, leading=18, font=fonts.SERIF_BOLD)
_LARGE: Final = style(20, leading=25, font=fonts.SERIF_BOLD)


def handover(told: Handover) -> bytes:
    words = _ES if told.lang == "es" else _EN
    entries = [
        Entry(None, Text(plain(words["title"]), style(20, leading=25, font=fonts.SERIF_BOLD), after=2)),
        Entry(
            None,
            Cells((((0.55, words["home"], told.home), (0.17, words["code"], told.job), (0.28, words["day"], told.given_on)),)),
        ),
        Entry(None, Text("", style(6))),
        Entry(None, _caution("no_backup_yet", told.lang)),
    ]
    for margin, heading, blocks in _subjects(told, words):
        entries.append(Entry(Text(plain(margin), style(9.5)), Stack((Text(plain(heading), _H2, after=2), *blocks)), rule="section"))
    entries.append(Entry(None, _signature(words), rule="section"))
    spoken = {"lang": "es-US", "paged": "Página {} de {}"} if told.lang == "es" else {}
    foot = f"{told.company}, {words['foot']}, {told.job}"
    return sheet(entries, title=f"{words['title']}, {told.job}", author=told.company, foot=foot, **spoken)


def _caution(name: str, lang: Lang) -> CautionBox:
    caution = cautions.of(name)
    return CautionBox(caution.kind, caution.signal(lang), caution.text(lang), size=12, panel=112 if caution.kind != Kind.NOTICE else 84)


def _subjects(told: Handover, words: dict[str, str]) -> list[tuple[str, str, tuple[Block, ...]]]:
    def text(name: str) -> Text:
        utility = told.utility or words["your utility"]
        filled = words[name].format(utility=utility, company=told.company, bag=told.bag, fit=told.who_may_fit, days=told.days)
        return Text(plain(filled), _BODY, after=4)

    next_up: list[Block] = [text("next"), text("days" if told.days else "no days")]
    if not told.permitted:
        next_up.append(_caution("before_permission", told.lang))
    who = [text("who")] + ([text("who else")] if told.who_may_fit else [])
    bag = [text("bag")] if told.bag else [text("no bag")]
    subjects: list[tuple[str, str, tuple[Block, ...]]] = [
        ("1", words["h next"], tuple(next_up)),
        ("2", words["h who"], tuple(who)),
        (
            "3",
            words["h touch"],
            (*bag, _caution("live_conductors", told.lang), _caution("utility_only", told.lang), _caution("seals", told.lang)),
        ),
        ("4", words["h internet"], (text("internet"),)),
        ("5", words["h medical"], (_caution("medical", told.lang), text("medical"))),
    ]
    if told.has_battery:
        subjects.append(("6", words["h battery"], (_caution("battery", told.lang),)))
    calls: list[Block] = [_caution("house_dark", told.lang)]
    if told.utility_phone:
        calls += [Text(plain(words["call utility"].format(utility=told.utility)), _BODY), Text(plain(told.utility_phone), _LARGE, after=4)]
    else:
        calls.append(text("no line"))
    if told.phone:
        calls += [Text(plain(words["call us"].format(company=told.company)), _BODY), Text(plain(told.phone), _LARGE, after=2)]
    subjects.append((str(len(subjects) + 1), words["h call"], tuple(calls)))
    return subjects


def _signature(words: dict[str, str]) -> Stack:
    line = "_" * 34
    return Stack(
        (
            Text(plain(words["signed"]), style(10.5, leading=14), after=16),
            Text(f"{line}&nbsp;&nbsp;&nbsp;{'_' * 18}", _BODY),
            Text(plain(words["sign here"]), style(9.5)),
        )
    )


_EN: Final = {
    "title": "Your new system: what happens now",
    "home": "Home",
    "code": "Our code",
    "day": "Given on",
    "foot": "hand-over sheet one",
    "your utility": "your electric utility",
    "h next": "What happens next",
    "next": "Your system is built and works with the grid. One part is still missing: a device that {utility} puts between your meter and "
    "its socket. We ask {utility} to come. After that we test the backup with you on the telephone.",
    "days": "The utility decides when it comes. By what we know so far, {days}. It may be sooner or much later.",
    "no days": "The utility decides when it comes; it has promised no day. It may be weeks or many months.",
    "h who": "Who will come",
    "who": "People of {utility}, in its vehicle and with its identification. The power goes off for some minutes. You need not pay them, "
    "and they need no password. {company} never needs the seal of your meter broken.",
    "who else": "Who may fit the device here: {fit}.",
    "h touch": "What not to touch",
    "bag": "A bag with the device hangs here: “{bag}”. Leave it there. Do not move, open or cover it; its cable and the meter stay as they "
    "are. Keep the way to the meter open, a gate unlocked on the day, a dog inside.",
    "no bag": "The device is not at your home yet. We tell you before we bring it.",
    "h internet": "Keep the internet on",
    "internet": "The test needs your system online. If you change your router, its name or its password, telephone us.",
    "h medical": "Medical equipment",
    "medical": "If the answer is yes, or changes, tell us and the utility now: before anybody switches the power off.",
    "h battery": "Your battery",
    "h call": "Whom to call",
    "call utility": "Power out, half the house dark, lights too bright or too dim: {utility}, emergency line",
    "call us": "Everything else: {company}",
    "no line": "The emergency number of your electric utility stands on your bill.",
    "signed": "I was told that this home has no backup power yet, and I was given this sheet.",
    "sign here": "Name and signature; day",
}
_ES: Final = {
    "title": "Su sistema nuevo: qué sigue ahora",
    "home": "Casa",
    "code": "Nuestro código",
    "day": "Entregada el",
    "foot": "hoja de entrega uno",
    "your utility": "su compañía eléctrica",
    "h next": "Qué sigue",
    "next": "Su sistema está construido y funciona con la red. Todavía falta una pieza: un dispositivo que {utility} pone entre el medidor "
    "y su base. Nosotros le pedimos a {utility} que venga. Después probamos el respaldo con usted por teléfono.",
    "days": "La compañía eléctrica decide cuándo viene. Por lo que sabemos hasta ahora, {days}. Puede ser antes o mucho después.",
    "no days": "La compañía eléctrica decide cuándo viene; no ha prometido ningún día. Pueden ser semanas o muchos meses.",
    "h who": "Quién vendrá",
    "who": "Personal de {utility}, en su vehículo y con su identificación. La electricidad se corta durante unos minutos. Usted no les "
    "paga y no necesitan ninguna contraseña. {company} nunca necesita que se rompa el sello de su medidor.",
    "who else": "Quién puede instalar el dispositivo aquí: {fit}.",
    "h touch": "Qué no debe tocar",
    "bag": "Aquí cuelga una bolsa con el dispositivo: “{bag}”. Déjela ahí. No la mueva, no la abra ni la cubra; el cable y el medidor se "
    "quedan como están. Mantenga libre el paso al medidor, el portón sin llave el día de la visita y al perro adentro.",
    "no bag": "El dispositivo todavía no está en su casa. Le avisamos antes de llevarlo.",
    "h internet": "Deje el internet encendido",
    "internet": "La prueba necesita su sistema en línea. Si cambia su router, el nombre o la contraseña de la red, llámenos.",
    "h medical": "Equipo médico",
    "medical": "Si la respuesta es sí, o si cambia, avísenos ahora a nosotros y a la compañía eléctrica: antes de que alguien corte la "
    "electricidad.",
    "h battery": "Su batería",
    "h call": "A quién llamar",
    "call utility": "Sin electricidad, media casa a oscuras, luces muy brillantes o muy débiles: {utility}, línea de emergencias",
    "call us": "Todo lo demás: {company}",
    "no line": "El número de emergencias de su compañía eléctrica está en su recibo.",
    "signed": "Me explicaron que esta casa todavía no tiene energía de respaldo y recibí esta hoja.",
    "sign here": "Nombre y firma; fecha",
}
