"""Hand-over sheet two: what a home is told once its backup was tested and passed, in English or Spanish. Plain values in, bytes out.

It says what was seen on that day and what may end it; it promises no time, and nothing that the home's facts do not bear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.core import cautions
from jobs.core.cautions import Kind
from jobs.core.papers import fonts
from jobs.core.papers.cautionbox import CautionBox
from jobs.core.papers.sheet import Block, Cells, Entry, Stack, Text, plain, sheet, style
from jobs.core.words import Lang, hours_told


@dataclass(frozen=True)
class SheetTwo:
    lang: Lang
    company: str
    phone: str  # as it is read out; "" where none is on record
    job: str
    home: str
    tested_on: str  # in words of the language
    tested_by: str
    load: str  # what was seen to run; "" where it was not named
    hours: tuple[float, float] | None  # at the load of the test, from the limits that were entered; None where nobody can tell
    utility: str
    utility_phone: str
    has_battery: bool
    has_pv: bool


_BODY: Final = style(12, leading=16)
_H2: Final = style(14, leading=18, font=fonts.SERIF_BOLD)
_LARGE: Final = style(20, leading=25, font=fonts.SERIF_BOLD)


def sheet_two(told: SheetTwo) -> bytes:
    words = _ES if told.lang == "es" else _EN
    title = Text(plain(words["title"]), style(20, leading=25, font=fonts.SERIF_BOLD), after=2)
    cells = Cells((((0.55, words["home"], told.home), (0.17, words["code"], told.job), (0.28, words["day"], told.tested_on)),))
    entries = [Entry(None, title), Entry(None, cells), Entry(None, Text("", style(6)))]
    for number, (heading, blocks) in enumerate(_subjects(told, words), start=1):
        block = Stack((Text(plain(heading), _H2, after=2), *blocks))
        entries.append(Entry(Text(str(number), style(9.5)), block, rule="section"))
    spoken = {"lang": "es-US", "paged": "Página {} de {}"} if told.lang == "es" else {}
    return sheet(
        entries, title=f"{words['title']}, {told.job}", author=told.company, foot=f"{told.company}, {words['foot']}, {told.job}", **spoken
    )


def _caution(name: str, lang: Lang) -> CautionBox:
    caution = cautions.of(name)
    return CautionBox(caution.kind, caution.signal(lang), caution.text(lang), size=12, panel=112 if caution.kind != Kind.NOTICE else 84)


def _subjects(told: SheetTwo, words: dict[str, str]) -> list[tuple[str, tuple[Block, ...]]]:
    utility = told.utility or words["your utility"]

    def text(name: str) -> Text:
        low, high = told.hours or (0.0, 0.0)
        filled = words[name].format(
            utility=utility,
            company=told.company,
            verifier=told.tested_by,
            day=told.tested_on,
            load=told.load,
            low=hours_told(low, lang=told.lang),
            high=hours_told(high, lang=told.lang),
        )
        return Text(plain(filled), _BODY, after=4)

    seen = [text("tested")] + ([text("ran")] if told.load else [])
    subjects: list[tuple[str, tuple[Block, ...]]] = [
        (words["h tested"], (*seen, text("bounds"))),
        (words["h outage"], (text("outage"), *((text("pv"),) if told.has_pv else ()), _caution("pumps", told.lang))),
        (words["h what"], (text("what"),)),
        (words["h long"], (text("long") if told.hours else text("long unknown"), _caution("run_time", told.lang))),
        (words["h medical"], (_caution("medical", told.lang),)),
        (words["h touch"], (text("touch"), _caution("live_conductors", told.lang), _caution("seals", told.lang))),
        (words["h keep"], (text("keep"),)),
    ]
    if told.has_battery:
        subjects.append((words["h battery"], (_caution("battery", told.lang),)))
    subjects.append((words["h call"], _numbers(told, words, utility)))
    subjects.append((words["h before"], (_caution("deferral", told.lang),)))
    return subjects


def _numbers(told: SheetTwo, words: dict[str, str], utility: str) -> tuple[Block, ...]:
    calls: list[Block] = [_caution("emergency", told.lang), _caution("house_dark", told.lang)]
    if told.utility_phone:
        calls += [Text(plain(words["call utility"].format(utility=utility)), _BODY), Text(plain(told.utility_phone), _LARGE, after=4)]
    else:
        calls.append(Text(plain(words["no line"]), _BODY, after=4))
    if told.phone:
        calls += [Text(plain(words["call us"].format(company=told.company)), _BODY), Text(plain(told.phone), _LARGE, after=2)]
    return tuple(calls)


_EN: Final = {
    "title": "Your backup power: what was tested, and what to know",
    "home": "Home",
    "code": "Our code",
    "day": "Tested on",
    "foot": "hand-over sheet two",
    "your utility": "your electric utility",
    "h tested": "What was tested",
    "tested": "On {day} {verifier} and someone at your home tested the backup: the home was apart from the utility for some minutes, its "
    "backed-up loads ran, and it returned.",
    "ran": "Seen to run: {load}.",
    "bounds": "That is what was seen on that day. It is not an inspection, a permission to operate, a warranty or an approval of "
    "electrical work.",
    "h outage": "In an outage",
    "outage": "The power may drop for a moment; then the backed-up loads run on. When the utility's power is back, the home returns by "
    "itself; "
    "that may take five minutes and more. You need not do anything, and clocks may want setting.",
    "pv": "Solar may go off and come back, above all when the battery is full. That is how it protects itself.",
    "h what": "What is backed up",
    "what": "The circuits that the label at your panel names as backed up, and no others. If the label is missing or does not agree, "
    "telephone us.",
    "h long": "How long it lasts",
    "long": "With what ran during the test, about {low} to {high} hours from the charge of that day. With more it is less: heating, "
    "cooling, "
    "an oven or a car use it up in a short time.",
    "long unknown": "It depends on what runs. With little it lasts long; heating, cooling, an oven or a car use it up in a short time.",
    "h medical": "Medical equipment",
    "h touch": "What not to touch",
    "touch": "The device between meter and socket stays where it is; only {utility} fits, moves or removes it. If anybody works at the "
    "meter, "
    "tell us: without the device there is no backup.",
    "h keep": "What to keep",
    "keep": "Keep the internet on, and tell us if the router or its password changes. Keep this sheet. Tell us before you add a large "
    "load, a "
    "generator or another battery, or if you sell the house.",
    "h battery": "Your battery",
    "h call": "Whom to call",
    "h before": "What comes first",
    "call utility": "Power out, half the house dark, lights too bright or too dim: {utility}, emergency line",
    "call us": "Everything else: {company}",
    "no line": "The emergency number of your electric utility stands on your bill.",
}
_ES: Final = {
    "title": "Su energía de respaldo: qué se probó y qué conviene saber",
    "home": "Casa",
    "code": "Nuestro código",
    "day": "Probada el",
    "foot": "hoja de entrega dos",
    "your utility": "su compañía eléctrica",
    "h tested": "Qué se probó",
    "tested": "El {day}, {verifier} y una persona en su casa probaron el respaldo: la casa estuvo separada de la compañía eléctrica "
    "durante unos "
    "minutos, las cargas con respaldo funcionaron y la casa volvió a la red.",
    "ran": "Se vio funcionar: {load}.",
    "bounds": "Eso es lo que se vio ese día. No es una inspección, ni un permiso para operar, ni una garantía, ni una aprobación de un "
    "trabajo "
    "eléctrico.",
    "h outage": "En un apagón",
    "outage": "La electricidad puede cortarse por un momento; después siguen funcionando las cargas con respaldo. Cuando vuelve la "
    "electricidad "
    "de la compañía, la casa regresa sola a la red; puede tardar cinco minutos o más. Usted no tiene que hacer nada; tal vez haya que "
    "poner en "
    "hora los relojes.",
    "pv": "El sistema solar puede apagarse y volver, sobre todo cuando la batería está llena. Así se protege.",
    "h what": "Qué tiene respaldo",
    "what": "Los circuitos que la etiqueta de su panel nombra con respaldo, y ningún otro. Si falta la etiqueta o no coincide, llámenos.",
    "h long": "Cuánto dura",
    "long": "Con lo que funcionaba durante la prueba, unas {low} a {high} horas con la carga de ese día. Con más consumo dura menos: la "
    "calefacción, el aire acondicionado, un horno o un automóvil la agotan en poco tiempo.",
    "long unknown": "Depende de lo que esté encendido. Con poco consumo dura mucho; la calefacción, el aire acondicionado, un horno o un "
    "automóvil la agotan en poco tiempo.",
    "h medical": "Equipo médico",
    "h touch": "Qué no debe tocar",
    "touch": "El dispositivo entre el medidor y su base se queda donde está; solo {utility} lo instala, lo mueve o lo quita. Si alguien "
    "trabaja "
    "en el medidor, avísenos: sin el dispositivo no hay respaldo.",
    "h keep": "Qué conviene mantener",
    "keep": "Deje el internet encendido y avísenos si cambia el router o su contraseña. Guarde esta hoja. Avísenos antes de agregar una "
    "carga "
    "grande, un generador u otra batería, o si vende la casa.",
    "h battery": "Su batería",
    "h call": "A quién llamar",
    "h before": "Qué va primero",
    "call utility": "Sin electricidad, media casa a oscuras, luces muy brillantes o muy débiles: {utility}, línea de emergencias",
    "call us": "Todo lo demás: {company}",
    "no line": "El número de emergencias de su compañía eléctrica está en su recibo.",
}
