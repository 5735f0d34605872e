"""The cautions the tool must show, in the form of ANSI Z535: hazard, consequence, how to avoid it, who decides.

Plain words for a homeowner or a lineworker, in English and Spanish; never shortened, least of all on paper. Before all of
them come local codes, the serving utility's requirements and the judgment of licensed persons ("deferral").
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from jobs.core.words import Lang


class Kind(StrEnum):
    """ANSI Z535.4: danger will kill or seriously injure, warning could, caution is minor or moderate injury, notice is none."""

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"
    NOTICE = "notice"


_SIGNALS: Final[dict[Kind, tuple[str, str]]] = {
    Kind.DANGER: ("DANGER", "PELIGRO"),
    Kind.WARNING: ("WARNING", "ADVERTENCIA"),
    Kind.CAUTION: ("CAUTION", "PRECAUCIÓN"),
    Kind.NOTICE: ("NOTICE", "AVISO"),
}


def signal(kind: Kind, lang: str) -> str:
    """The signal word: "DANGER", "PELIGRO"."""
    english, spanish = _SIGNALS[kind]
    return spanish if lang == "es" else english


@dataclass(frozen=True)
class Caution:
    kind: Kind
    en: str
    es: str

    def text(self, lang: str) -> str:
        return self.es if lang == "es" else self.en

    def signal(self, lang: str) -> str:
        return signal(self.kind, lang)

    def sentence(self, lang: Lang) -> str:
        """Where there is no panel, in plain text: "DANGER. The wires at the meter ..."."""
        return f"{self.signal(lang)}. {self.text(lang)}"


def of(name: str) -> Caution:
    """The caution of this name; a name that is not kept is a mistake of ours and raises KeyError."""
    return CAUTIONS[name]


CAUTIONS: Final[dict[str, Caution]] = {
    "live_conductors": Caution(
        Kind.DANGER,
        "The wires at the meter are always live. Opening the meter or its socket can kill. Only the utility's people may open it.",
        "Los cables del medidor siempre tienen corriente. Abrir el medidor o su base puede causar la muerte. "
        "Solo el personal de la compañía eléctrica puede abrirlos.",
    ),
    "utility_only": Caution(
        Kind.NOTICE,
        "To be fitted by the electric utility only. Our crew and the homeowner must not.",
        "Solo la compañía eléctrica puede instalarlo. Ni nuestro equipo de trabajo ni las personas de la casa deben hacerlo.",
    ),
    "seals": Caution(
        Kind.NOTICE,
        "Never cut or refit a seal. If it is broken or missing: photograph, do not touch, tell us and the utility today.",
        "Nunca corte ni vuelva a colocar un sello. Si está roto o falta: tome una foto, no lo toque y avísenos hoy mismo "
        "a nosotros y a la compañía eléctrica.",
    ),
    "no_backup_yet": Caution(
        Kind.NOTICE,
        "Your home does not have backup power yet. In an outage the solar and battery will shut off until the utility has fitted "
        "the device and we have tested it with you.",
        "Su casa todavía no tiene energía de respaldo. En un apagón, el sistema solar y la batería se apagarán; así será hasta que la "
        "compañía eléctrica haya instalado el dispositivo y lo hayamos probado con usted.",
    ),
    "before_permission": Caution(
        Kind.NOTICE,
        "Commissioned is not permitted. Without the utility's written permission to operate the system may have to stay off: "
        "the utility decides.",
        "Puesto en servicio no significa autorizado. Sin el permiso escrito de la compañía eléctrica para operar, es posible que el "
        "sistema deba quedar apagado: decide la compañía eléctrica.",
    ),
    "ct_secondaries": Caution(
        Kind.WARNING,
        "Never leave the secondary of a current-output CT open while current flows. Qualified electricians only, power off where the "
        "work requires it (OSHA 29 CFR 1910.333, NFPA 70E).",
        "Nunca deje abierto el secundario de un transformador de corriente (CT) con salida de corriente mientras circula corriente. "
        "Solo electricistas calificados, con la electricidad cortada cuando el trabajo lo exige (OSHA 29 CFR 1910.333, NFPA 70E).",
    ),
    "medical": Caution(
        Kind.WARNING,
        "Does anyone at home rely on powered medical equipment? If yes or not sure, we do not run this test by phone. A home battery "
        "does not replace a medical backup plan. Ask your clinician or equipment supplier; ask your utility about its medical list.",
        "¿Alguien en la casa depende de un equipo médico eléctrico? Si la respuesta es sí, o no lo sabe con certeza, no hacemos esta "
        "prueba por teléfono. Una batería en la casa no sustituye un plan médico de respaldo. Consulte a su médico o al proveedor del "
        "equipo; pregunte a su compañía eléctrica por su lista de clientes con equipo médico.",
    ),
    # Of the utility's visit (TRADE.md C13): the same hazard, but no test of ours that we could leave out.
    "medical_power_off": Caution(
        Kind.WARNING,
        "Does anyone at home rely on powered medical equipment? If yes or not sure, telephone the utility and us before its visit, and "
        "follow your medical backup plan. A home battery does not replace that plan. Ask your clinician or equipment supplier; ask your "
        "utility about its medical list.",
        "¿Alguien en la casa depende de un equipo médico eléctrico? Si la respuesta es sí, o no lo sabe con certeza, llame a la compañía "
        "eléctrica y a nosotros antes de la visita y siga su plan médico de respaldo. Una batería en la casa no sustituye ese plan. "
        "Consulte a su médico o al proveedor del equipo; pregunte a su compañía eléctrica por su lista de clientes con equipo médico.",
    ),
    "lifts_power_off": Caution(
        Kind.CAUTION,
        "The power goes off for some minutes. Nobody in or on a lift.",
        "La electricidad se corta durante unos minutos. Nadie debe estar en un elevador, una plataforma elevadora "
        "ni una silla salvaescaleras.",
    ),
    "lifts": Caution(
        Kind.CAUTION,
        "Power may drop for a moment. Nobody in or on a lift.",
        "La electricidad puede cortarse por un momento. Nadie debe estar en un elevador, una plataforma elevadora "
        "ni una silla salvaescaleras.",
    ),
    "pumps": Caution(
        Kind.NOTICE,
        "Check that your pumps restart afterwards.",
        "Después, compruebe que sus bombas vuelvan a funcionar.",
    ),
    "alarms": Caution(
        Kind.NOTICE,
        "Tell your alarm company first. Keep a charged mobile phone: home internet and phone may drop.",
        "Avise antes a su compañía de alarmas. Tenga a mano un teléfono celular cargado: el internet y el teléfono de la casa "
        "pueden cortarse.",
    ),
    "save_work": Caution(
        Kind.NOTICE,
        "Save your work; stop charging the car; do not start the oven.",
        "Guarde su trabajo en la computadora; deje de cargar el automóvil; no encienda el horno.",
    ),
    "generator": Caution(
        Kind.DANGER,
        "A generator feeding the same wires can kill a lineworker. It must be off and disconnected before the test. If unsure: stop.",
        "Un generador conectado a los mismos cables puede causar la muerte de un trabajador de las líneas eléctricas. Debe estar apagado "
        "y desconectado antes de la prueba. Si hay duda: deténgase.",
    ),
    "abort": Caution(
        Kind.DANGER,
        "Stop at once if: a smell, heat, sparks, half the house dead, lights very bright or dim, anyone feels a shock or is unwell. "
        "Call 911 for danger to life; then the utility's emergency line.",
        "Deténgase de inmediato si hay olor, calor, chispas, media casa sin electricidad o luces muy brillantes o muy débiles, o si "
        "alguien siente una descarga o se siente mal. Si hay peligro para la vida, llame al 911; después, a la línea de emergencias "
        "de la compañía eléctrica.",
    ),
    "house_dark": Caution(
        Kind.WARNING,
        "Call the utility's emergency number first.",
        "Llame primero al número de emergencias de la compañía eléctrica.",
    ),
    "battery": Caution(
        Kind.DANGER,
        "If you smell gas or see smoke or swelling: leave, call 911. Do not open or spray.",
        "Si huele a gas o ve humo o hinchazón: salga y llame al 911. No abra la batería ni le eche agua u otro líquido.",
    ),
    "run_time": Caution(
        Kind.NOTICE,
        "Estimate only; depends on what runs, weather and battery age.",
        "Solo es un cálculo aproximado; depende de lo que esté encendido, del clima y de la edad de la batería.",
    ),
    "check_only": Caution(
        Kind.NOTICE,
        "A check for gross errors, not a measurement of accuracy and not an approval. A licensed electrician decides.",
        "Es una revisión para hallar errores graves; no mide la exactitud y no es una aprobación. Decide un electricista con licencia.",
    ),
    "code_edition": Caution(
        Kind.NOTICE,
        "The edition adopted by your local authority governs.",
        "Rige la edición que haya adoptado su autoridad local.",
    ),
    "no_test_in_storm": Caution(
        Kind.NOTICE,
        "No tests while a warning is in force.",
        "No se hacen pruebas mientras haya una alerta vigente.",
    ),
    "recording": Caution(
        Kind.NOTICE,
        "Ask everyone on the call before recording sound. A written record is enough.",
        "Pida permiso a todas las personas en la llamada antes de grabar el sonido. Basta un registro escrito.",
    ),
    "no_commands": Caution(
        Kind.NOTICE,
        "This tool sends no commands. You operate the equipment by its own means.",
        "Esta herramienta no envía órdenes. Usted maneja el equipo con los medios del propio equipo.",
    ),
    "not_advice": Caution(
        Kind.NOTICE,
        "Information only; ask counsel or the accountant.",
        "Solo es información; consulte al abogado o al contador.",
    ),
    "bag_photo": Caution(
        Kind.DANGER,
        "Take the picture from where you stand. Do not open, move or touch the bag, the meter, the cable or a seal. Not in the dark, "
        "in rain or storm. Skip it if a dog or an obstacle is there.",
        "Tome la foto desde donde está. No abra, mueva ni toque la bolsa, el medidor, el cable ni ningún sello. No lo haga de noche, "
        "con lluvia ni con tormenta. No la tome si hay un perro o un obstáculo.",
    ),
    "readings": Caution(
        Kind.DANGER,
        "Read the closed meter's face only. Work on or near live parts is for qualified electricians; stop if you cannot do it safely.",
        "Lea solamente la carátula del medidor cerrado. El trabajo en partes con corriente, o cerca de ellas, es solo para electricistas "
        "calificados; deténgase si no puede hacerlo de manera segura.",
    ),
    "tag_page": Caution(
        Kind.NOTICE,
        "Your own utility's rules come first. This page only tells us what you found.",
        "Las reglas de su propia compañía eléctrica van primero. Esta página solo nos dice lo que usted encontró.",
    ),
    "emergency": Caution(
        Kind.DANGER,
        "Leave if there is danger to life and call 911; then the utility's emergency line; then us. Do not reset or touch anything.",
        "Si hay peligro para la vida, salga y llame al 911; después, a la línea de emergencias de la compañía eléctrica; después, a "
        "nosotros. No restablezca ni toque nada.",
    ),
    "line_lost": Caution(
        Kind.WARNING,
        "Telephone the home first. The call is not over until the return to the utility was seen.",
        "Primero llame por teléfono a la casa. La llamada no termina hasta que se haya visto el regreso a la red de la compañía eléctrica.",
    ),
    "deferral": Caution(
        Kind.NOTICE,
        "Local codes, the serving utility's requirements and the judgment of licensed persons come before anything shown here.",
        "Los códigos locales, los requisitos de su compañía eléctrica y el criterio de las personas con licencia están por encima "
        "de todo lo que se muestra aquí.",
    ),
}
