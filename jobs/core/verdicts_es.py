"""What a CT check found, in Spanish: the sentences of ctcheck.py and ctsignatures.py, phrase by phrase. Pure.

A verdict is stored in English, as it was computed; a phrase that has no Spanish leaves the sentence in English, never half of it.
"""

from __future__ import annotations

import re
from typing import Final

_PHRASES: Final = (
    (r"Run the 120 V step on each leg in turn again afterwards", "Después repita el paso de 120 V en cada fase, una tras otra"),
    (r"Each load showed on its own leg, as import, with the expected size", "Cada carga se vio en su propia fase, como "
     "importación y con el "
     "tamaño esperado"),
    (r"The steps fit neither a right pair of CTs nor any fault that we know", "Los pasos no corresponden a un par correcto "
     "de CT ni a ninguna "
     "falla conocida"),
    (r"The steps fit a right pair of CTs, but they fit as well that", "Los pasos corresponden a un par correcto de CT, pero también a que"),
    (r", but a right pair of CTs is too near to rule out", ", pero no se puede descartar un par correcto de CT"),
    (r"The steps fit that", "Los pasos corresponden a que"),
    (r"the steps fit that", "los pasos corresponden a que"),
    (r"The CTs are not right, but these steps cannot tell whether", "Los CT no están bien, pero estos pasos no dicen si"),
    (r"A licensed electrician should", "Un electricista con licencia debe"),
    (r"an electrician puts it right afterwards", "después lo corrige un electricista"),
    (r"if it comes out the same, an electrician looks at both CTs", "si sale lo mismo, un electricista mira los dos CT"),
    (r"Run the 120 V step on each leg in turn again", "Repita el paso de 120 V en cada fase, una después de la otra"),
    (r"Run a 120 V step on each leg in turn", "Haga un paso de 120 V en cada fase, una después de la otra"),
    (r"with a larger load whose watts are measured", "con una carga mayor y de vatios medidos"),
    (r"with another load whose watts are measured", "con otra carga de vatios medidos"),
    (r"with PV and battery off, and note what else runs", "con PV y batería apagados, y anote qué más funciona"),
    (r"to tell which", "para saber cuál"),
    (r" afterwards\.", " después."),
    (r"see that the load really ran and why neither CT reads it", "ver que la carga de verdad funcionó y por qué ningún CT la lee"),
    (r"see that the load really ran and why CT ([AB]) reads nothing of it", r"ver que la carga de verdad funcionó y por qué "
     r"el CT \1 no la lee"),
    (r"take the other hot conductor out of CT ([AB])", r"sacar el otro conductor vivo del CT \1"),
    (r"leave in each CT only its own hot conductor", "dejar en cada CT solo su propio conductor vivo"),
    (r"pair each CT with its own leg", "poner cada CT en su propia fase"),
    (r"pair CT ([AB]) with its own leg", r"poner el CT \1 en su propia fase"),
    (r"set the ratios that are printed on the CTs", "poner las relaciones impresas en los CT"),
    (r"set the ratio that is printed on CT ([AB])", r"poner la relación impresa en el CT \1"),
    (r"move CT ([AB]) to leg ([AB])", r"mover el CT \1 a la fase \2"),
    (r"turn both CTs round", "dar la vuelta a los dos CT"),
    (r"turn CT ([AB]) round", r"dar la vuelta al CT \1"),
    (r"and turn both round", "y dar la vuelta a los dos"),
    (r"and turn it round", "y darle la vuelta"),
    (r"[Bb]oth CTs read ([\d.]+) times what they should", r"los dos CT leen \1 veces lo debido"),
    (r"CT ([AB]) reads ([\d.]+) times what it should", r"el CT \1 lee \2 veces lo debido"),
    (r"the ratios set are wrong, and both are reversed", "las relaciones puestas están mal y los dos están al revés"),
    (r"the ratio set is wrong, and it is reversed", "la relación puesta está mal y está al revés"),
    (r"the ratios set are wrong", "las relaciones puestas están mal"),
    (r"the ratio set is wrong", "la relación puesta está mal"),
    (r"[Tt]he ratios set for both CTs are wrong", "las relaciones puestas para los dos CT están mal"),
    (r"[Tt]he ratio set for CT ([AB]) is wrong", r"la relación puesta para el CT \1 está mal"),
    (r"[Tt]he CTs are swapped between the legs", "los CT están cambiados entre las fases"),
    (r"[Ee]ach CT is round both hot conductors", "cada CT rodea los dos conductores vivos"),
    (r"CT ([AB]) is round both hot conductors", r"el CT \1 rodea los dos conductores vivos"),
    (r"[Bb]oth CTs are absent, open or not round this feeder", "los dos CT faltan, están abiertos o no rodean este alimentador"),
    (r"CT ([AB]) is absent, open or not round this feeder", r"el CT \1 falta, está abierto o no rodea este alimentador"),
    (r"[Bb]oth CTs are on leg ([AB])", r"los dos CT están en la fase \1"),
    (r"CT ([AB]) is on leg ([AB])", r"el CT \1 está en la fase \2"),
    (r"[Bb]oth CTs are reversed", "los dos CT están al revés"),
    (r"CT ([AB]) is reversed", r"el CT \1 está al revés"),
    (r"and both are reversed", "y los dos están al revés"),
    (r"and it is reversed", "y está al revés"),
    (r"and reversed", "y al revés"),
    (r"120 V on leg ([AB]) gave", r"120 V en la fase \1 dio"),
    (r"across both legs gave", "entre las dos fases dio"),
    (r"on leg A and", "en la fase A y"),
    (r"on leg ([AB])", r"en la fase \1"),
    (r"The load 120 V en la fase ([AB]) was", r"La carga de 120 V en la fase \1 era de"),
    (r"With the load 120 V en la fase ([AB]),", r"Con la carga de 120 V en la fase \1,"),
    (r"too small to stand out", "demasiado pequeña para notarse"),
    (r"use a load of at least", "use una carga de al menos"),
    (r"the baseline of leg ([AB]) moved by", r"la base de la fase \1 se movió"),
    (r"up to (\S+\s?W) can be borne", r"se admiten hasta \1"),
    (r"switch off what cycles \(heat pump, well pump, oven\) and hold each reading for 30 seconds", "apague lo que arranca y "
     "para (bomba de "
     "calor, bomba de pozo, horno) y mantenga cada lectura 30 segundos"),
    (r"PV was noted at only some of the readings", "el PV se anotó solo en algunas lecturas"),
    (r"note PV at each reading, or switch it off", "anote el PV en cada lectura, o apáguelo"),
    (r"PV changed from (\S+\s?W) to", r"el PV cambió de \1 a"),
    (r"switch PV off or wait for a steady sky", "apague el PV o espere un cielo estable"),
    (r"the battery ran at", "la batería funcionaba a"),
    (r"set the battery to idle", "ponga la batería en reposo"),
    (r"\bone of:", "una de estas:"),
    (r"or (\d+) more", r"o \1 más"),
    (r"\beither ", "o bien "),
    (r"\bwith\b", "con"),
    (r"\band\b", "y"),
    (r"\bor\b", "o"),
)  # fmt: skip
_LEFT_IN_ENGLISH = re.compile(r"\b(the|of|is|are|was|that|both|load|leg|read|reads|should|from|by|to|it|electrician)\b", re.IGNORECASE)


def in_spanish(sentence: str) -> str | None:
    """The sentence in Spanish, or None where some of it has none."""
    for english, spanish in _PHRASES:
        sentence = re.sub(english, spanish, sentence)
    if _LEFT_IN_ENGLISH.search(sentence):
        return None
    return sentence[:1].upper() + sentence[1:]
