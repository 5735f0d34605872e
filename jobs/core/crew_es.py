"""The crew's form in Spanish: its labels, choices and hints, and the sentences that refuse. Pure.

The English is written where the fields and acts are; here it is the key, so that a label without its Spanish is found by a test.
"""

from __future__ import annotations

import re
from typing import Final

LABELS: Final = {
    # Parts and their buttons.
    "Seal at the meter": "Sello del medidor",
    "Meter and service surveyed": "Medidor y acometida",
    "System installed": "Sistema instalado",
    "Consumption CTs fitted": "CT de consumo colocados",
    "Consumption-CT check": "Prueba de los CT de consumo",
    "Consumption CTs when PV came on": "CT de consumo al encender el PV",
    "Utility meter timed": "Pulsos del medidor de la compañía",
    "Commissioned grid-tied": "Puesta en marcha conectada a la red",
    "Collar registered in advance": "Collar registrado de antemano",
    "Collar staged": "Collar dejado en su sitio",
    "Photos by subject": "Fotos por tema",
    "Hand-over sheet given": "Hoja de entrega dada",
    "Record the seal": "Anotar el sello",
    "Record survey": "Anotar el medidor",
    "Record installation": "Anotar la instalación",
    "Record the CTs": "Anotar los CT",
    "Record readings": "Anotar las lecturas",
    "Record timing": "Anotar los pulsos",
    "Record commissioning": "Anotar la puesta en marcha",
    "Record registration": "Anotar el registro",
    "Record staging": "Anotar dónde quedó",
    "Record photos": "Anotar las fotos",
    "Record sheet": "Anotar la hoja",
    # Fields.
    "Day at the home": "Día en la casa",
    "The utility's seal at the meter": "El sello de la compañía eléctrica en el medidor",
    "Look, do not touch. Broken or absent: photograph it; the utility is told today.": "Mire, no toque. Si está roto o "
    "falta: tome una foto; "
    "hoy se avisa a la compañía eléctrica.",
    "intact": "entero",
    "broken": "roto",
    "absent": "no está",
    "What was seen": "Qué se vio",
    "Photo of the seal": "Foto del sello",
    "From where you stand. JPEG or PNG, at most 20 MB.": "Desde donde está. JPEG o PNG, 20 MB como máximo.",
    "Meter form": "Forma del medidor",
    "As on the meter's face: 2S.": "Como en la carátula: 2S.",
    "Meter class": "Clase del medidor",
    "As on its face: CL200.": "Como en la carátula: CL200.",
    "not read": "no leída",
    "Socket": "Base del medidor",
    "not seen": "no se vio",
    "ring": "con aro",
    "ringless": "sin aro",
    "Jaws of the socket": "Mordazas de la base",
    "four": "cuatro",
    "five": "cinco",
    "Service voltage": "Voltaje de la acometida",
    "The CT check is computed for it.": "La prueba de los CT se calcula con él.",
    "another": "otro",
    "not known": "no se sabe",
    "Service, amperes": "Acometida, amperios",
    "Working space before the meter": "Espacio de trabajo delante del medidor",
    "clear": "libre",
    "obstructed": "obstruido",
    "If obstructed: by what": "Si está obstruido: por qué cosa",
    "Devices already in the socket": "Aparatos que ya están en la base",
    "Surge arrester, transfer device, another collar; empty if none.": "Supresor de picos, aparato de transferencia, otro collar; vacío si "
    "no hay.",
    "A generator is on the premises": "Hay un generador en la propiedad",
    "Where they are": "Dónde están",
    "between the meter and every source": "entre el medidor y todas las fuentes",
    "after the connection of PV": "después de la conexión del PV",
    "Rated primary current, A": "Corriente primaria nominal, A",
    "As printed on the CT: 200.": "Como está impresa en el CT: 200.",
    "Rating set in the gateway, A": "Valor puesto en la puerta de enlace, A",
    "Read it back; it should be what is printed.": "Vuelva a leerlo; debe ser el que está impreso.",
    "Accuracy class": "Clase de exactitud",
    "As printed: 0.5, 1.": "Como está impresa: 0.5, 1.",
    "Arrows as seen": "Flechas, como se ven",
    "Toward the house or toward the meter; a note only.": "Hacia la casa o hacia el medidor; solo es una nota.",
    "Serial of CT A": "Número de serie del CT A",
    "Serial of CT B": "Número de serie del CT B",
    "PV that was here before": "PV que ya estaba aquí",
    "none": "ninguno",
    "with its own CT": "con su propio CT",
    "without a CT": "sin CT",
    "The known loads' watts": "Los vatios de las cargas conocidas",
    "from the nameplate, right within 5 per cent": "de la placa, exactos dentro del 5 por ciento",
    "measured at the outlet while they ran": "medidos en el tomacorriente mientras funcionaban",
    "1,000 W or more, on a 120 V outlet of this leg.": "1,000 W o más, en un tomacorriente de 120 V de esta fase.",
    "1,000 W or more, at 240 V.": "1,000 W o más, a 240 V.",
    "Known load across both legs, W": "Carga conocida entre las dos fases, W",
    "PV off: import of both legs, W": "PV apagado: importación de las dos fases, W",
    "PV off: PV, W": "PV apagado: PV, W",
    "PV on: import of both legs, W": "PV encendido: importación de las dos fases, W",
    "PV on: PV, W": "PV encendido: PV, W",
    "Constant on the meter's face": "Constante en la carátula del medidor",
    "Kh, Wh per revolution or pulse": "Kh, Wh por vuelta o pulso",
    "impulses per kWh": "impulsos por kWh",
    "The constant": "La constante",
    "Kh such as 7.2 or 1, or impulses such as 1000: read it from the face.": "Kh como 7.2 o 1, o impulsos como 1000: léala en la carátula.",
    "Seconds at each pulse": "Segundos en cada pulso",
    "One tap at each pulse, for 30 seconds or more: 0, 2.1, 4.2. Each is taken as right within 0.2 seconds.": "Un toque en cada pulso, "
    "durante 30 segundos o más: 0, 2.1, 4.2. Cada uno se toma como exacto dentro de 0.2 segundos.",
    "Tap at each pulse": "Toque en cada pulso",
    "Or how many pulses or turns": "O cuántos pulsos o vueltas",
    "And in how many seconds": "Y en cuántos segundos",
    "Transformer factor": "Factor del transformador",
    "1 for a meter without transformers before it, as at most homes.": "1 si el medidor no tiene transformadores delante, como en casi "
    "todas las casas.",
    "Direction the meter shows": "Dirección que muestra el medidor",
    "import (from the utility)": "importación (desde la compañía)",
    "export (to the utility)": "exportación (hacia la compañía)",
    "not shown": "no la muestra",
    "What the CTs read then, both legs, W": "Lo que leían entonces los CT, las dos fases, W",
    "Mode as set": "Modo puesto",
    "grid-tied, no backup": "conectado a la red, sin respaldo",
    "backup expected": "con respaldo",
    "Reserve state of charge, per cent": "Reserva de carga, por ciento",
    "Communications path": "Vía de comunicación",
    "Months from now the collar is verified over it.": "Dentro de meses se verifica el collar por esta vía.",
    "Ethernet": "Ethernet",
    "Wi-Fi": "Wi-Fi",
    "cellular": "celular",
    "none yet": "todavía ninguna",
    "Firmware": "Versión del programa",
    "Export limit, W": "Límite de exportación, W",
    "Note": "Nota",
    "Serial of the collar": "Número de serie del collar",
    "Typed or scanned, as the label shows it; letters, digits and hyphens.": "Escrito o escaneado, como en la etiqueta; letras, cifras "
    "y guiones.",
    "The letters O and I in it were checked on the label: they are letters": "Las letras O e I se revisaron en la etiqueta: son letras",
    "Hardware revision": "Revisión del aparato",
    "Where the bag hangs": "Dónde cuelga la bolsa",
    "So that the utility's crew finds it: left of the meter, at eye height.": "Para que la cuadrilla de la compañía la encuentre: a la "
    "izquierda del medidor, a la altura de los ojos.",
    "Photo of the bag where it hangs": "Foto de la bolsa donde cuelga",
    "JPEG or PNG, at most 20 MB.": "JPEG o PNG, 20 MB como máximo.",
    "Serial as read through the bag": "Número de serie leído a través de la bolsa",
    "Text of the label, if it is not our printed tag": "Texto de la etiqueta, si no es la que imprimimos",
    "Control cable: how it runs": "Cable de control: por dónde va",
    "Control cable coiled at the bag, cm": "Cable de control enrollado junto a la bolsa, cm",
    "Its end": "Su extremo",
    "no control cable": "sin cable de control",
    "terminated": "conectado a su terminal",
    "capped": "con tapa",
    "Both its ends are labelled": "Los dos extremos tienen etiqueta",
    "It is de-energized": "Está sin corriente",
    "The homeowner was told not to move the bag": "Se dijo en la casa que no muevan la bolsa",
    "Given by, if not by you": "Entregada por, si no fue usted",
    "Signed by": "Firmada por",
    "Photo of the signed sheet": "Foto de la hoja firmada",
    "Or why it was not staged": "O por qué no se dejó",
    "Photo: meter and socket, closed": "Foto: medidor y base, cerrados",
    "Photo: main panel": "Foto: tablero principal",
    "Photo: inverter": "Foto: inversor",
    "Photo: battery": "Foto: batería",
    "Photo: consumption CTs": "Foto: CT de consumo",
    "Photo: labels and directory": "Foto: etiquetas y directorio",
    "Photo: end of the control cable": "Foto: extremo del cable de control",
    "Photo: place for the collar": "Foto: lugar del collar",
    "Photo: label on the bag": "Foto: etiqueta de la bolsa",
    "Given to": "Dada a",
    "Language of the sheet": "Idioma de la hoja",
    "English": "inglés",
    "Spanish": "español",
    "yes": "sí",
    "no": "no",
    # What a step of the check is called.
    "120 V load on leg A": "Carga de 120 V en la fase A",
    "120 V load on leg B": "Carga de 120 V en la fase B",
    "Load across both legs": "Carga entre las dos fases",
    # Verdicts, and what is missing before the home is grid-tied complete.
    "consistent": "coherente",
    "inconsistent": "incoherente",
    "cannot tell": "no se puede decir",
    "the commissioning date": "la fecha de la puesta en marcha",
    "a consumption-CT check that is consistent": "una prueba coherente de los CT de consumo",
    "the collar's serial, registered": "el número de serie del collar, registrado",
    "the collar staged, with place and photo or a reason": "el collar dejado en su sitio, con lugar y foto o un motivo",
    "the hand-over sheet, given to the homeowner": "la hoja de entrega, dada al dueño de la casa",
    # Sentences that refuse.
    "Answer first, in the first part, how the utility's seal looks: it is asked on every visit.": "Responda antes, en la "
    "primera parte, cómo "
    "está el sello de la compañía: se pregunta en cada visita.",
    "A whole number is wanted here, such as 1200.": "Aquí va un número entero, como 1200.",
    "A load draws power: its watts are wanted, more than 0, such as 1500.": "Una carga consume: se piden sus vatios, más de 0, como 1500.",
    "A number is wanted here as on the meter's face, such as 7.2.": "Aquí va un número como el de la carátula, como 7.2.",
    "A number of pulses or turns is wanted here, such as 12.": "Aquí va un número de pulsos o vueltas, como 12.",
    "Seconds are wanted here, such as 30.5.": "Aquí van segundos, como 30.5.",
    "A number is wanted here; 1 at most homes.": "Aquí va un número; 1 en casi todas las casas.",
    "The step across both legs is begun; this reading is wanted too, or leave the whole step empty.": "El paso entre las dos fases está "
    "empezado; también se pide esta lectura, o deje vacío todo el paso.",
    "Without the collar the home has no backup: equipment that expects it raises alarms. Set the mode to grid-tied, then record.": "Sin el "
    "collar la casa no tiene respaldo: el equipo que lo espera da alarmas. Ponga el modo conectado a la red y después anote.",
    "Say where the collar hangs and add a photo, or give the reason why it was not staged.": "Diga dónde cuelga el collar y "
    "añada una foto, "
    "o dé el motivo por el que no se dejó.",
    "Say what stands in the way of the meter: eave, door, gas meter, shelf.": "Diga qué estorba delante del medidor: alero, "
    "puerta, medidor "
    "de gas, repisa.",
    "No photo is chosen; take at least one.": "No hay ninguna foto; tome al menos una.",
    "The picture cannot be read; take it again or send it as JPEG.": "La foto no se puede leer; tómela otra vez o envíela como JPEG.",
    "The meter's constant must be more than 0, as its face shows it.": "La constante del medidor tiene que ser mayor que 0, como en la "
    "carátula.",
    "Each tap must come after the one before it; run the timing again.": "Cada toque tiene que venir después del anterior; "
    "cuente otra vez.",
    "Either a tap at each pulse is wanted, or the number of pulses and the seconds they took.": "Se pide un toque en cada "
    "pulso, o el número "
    "de pulsos y los segundos que tardaron.",
    "PV gives power and takes none: its output is zero or more, by night too.": "El PV da potencia y no toma: su salida es cero o más, "
    "también de noche.",
    "This was sent before with other contents; nothing was recorded this time. Open the page anew.": "Esto ya se envió con otro contenido; "
    "esta vez no se anotó nada. Abra la página otra vez.",
    "This home has no battery, so it has no consumption CTs to check.": "Esta casa no tiene batería; no tiene CT de consumo que probar.",
    "This home has no battery, so it has no consumption CTs.": "Esta casa no tiene batería; no tiene CT de consumo.",
    "The job was cancelled.": "El trabajo fue cancelado.",
    "What the home has, battery and PV, was changed.": "Se cambió lo que la casa tiene, batería y PV.",
    "What stood on record was taken back.": "Lo que estaba anotado se retiró.",
    "What the phone saw of the record when this was begun is not known.": "No se sabe qué mostraba el registro cuando se empezó esto.",
}

# Sentences with something in them; the groups are put in as they stand.
SENTENCES: Final = (
    (r'"(.*)" is not a reading\. Whole watts .*', r"“\1” no es una lectura. Se piden vatios enteros con su signo, como 640 o -640."),
    (r'"(.*)" is more than any home draws\. .*', r"“\1” es más de lo que consume cualquier casa. Se pide la lectura en vatios, como 640."),
    (r'"(.*)" is not an instant\. .*', r"“\1” no es un instante. Se piden los segundos de cada pulso, como 0, 2.1, 4.3."),
    (r"“(.*)” has (\d+) MB; at most 20 MB are taken\.", r"“\1” tiene \2 MB; se aceptan 20 MB como máximo."),
    (r"“(.*)” is not a JPEG, PNG or PDF file; .*", r"“\1” no es un archivo JPEG, PNG ni PDF; se pide uno de estos."),
    (r"“(.*)” is not what its name says: .*", r"“\1” no es lo que dice su nombre; tome la foto otra vez."),
    (r"“(.*)” is empty\.", r"“\1” está vacío."),
    (r"“(.*)” is not a serial; wanted .*", r"“\1” no es un número de serie; se piden letras, cifras y guiones, de 6 a 24."),
    (r"In (\S+) (?:the letter .*) among digits\. Look at the label: if it is the digit, type (\S+); .*",
     r"En \1 hay letras O o I entre cifras. Mire la etiqueta: si es la cifra, escriba \2; si de verdad es la letra, diga que la revisó."),
    (r"Serial (\S+) is barred since .*", r"El collar \1 está retirado y no se registra. Avise a la oficina: tiene que revisarlo primero."),
    (r"Revision (\S+) is withdrawn since .*", r"La revisión \1 está retirada; se pide un collar de otra revisión."),
    (r"The bag shows (\S+), and (\S+) is registered for this home.*",
     r"La bolsa muestra \1 y para esta casa está registrado \2. Cuelgue el correcto o registre primero el cambio."),
    (r"No collar is registered for this home yet; .*", r"Todavía no hay un collar registrado para esta casa; regístrelo primero."),
    (r"Serial (\S+) is registered for job (\S+) at (.*); a serial .*", r"El número \1 está registrado para el trabajo \2 en "
     r"\3; un número es "
     r"de una sola casa a la vez. Mire la etiqueta, o muévalo primero desde allí."),
    (r"At least (.*) is wanted here\.", r"Aquí va \1 o más."),
    (r"At most (.*) can be right here\.", r"Aquí va \1 como máximo."),
    (r'"(.*)" is not a day\. .*', r"“\1” no es un día. Escríbalo así: 11/18/2026 (mes/día/año) o 2026-11-18."),
    (r'"(.*)" (?:is not in the calendar|has no month we know|has a month|is in the year).*', r"“\1” no está en el calendario. "
     r"Escríbalo así: "
     r"11/18/2026 (mes/día/año) o 2026-11-18."),
    (r"(.*) has not come yet at the home; .*", r"\1 todavía no ha llegado en la casa; anótelo cuando haya pasado."),
    (r"At least (\d+) taps are wanted, one at each pulse; there (?:is|are) (\d+)\.", r"Se piden al menos \1 toques, uno en "
     r"cada pulso; hay \2."),
    (r"Between tap (\d+) and tap (\d+) passed (.*) s, where (.*) s is usual: .*", r"Entre el toque \1 y el \2 pasaron \3 s, y lo usual son "
     r"\4 s: faltó un pulso, se tocó dos veces o cambió la carga. Cuente otra vez."),
    (r"The (count|time|number of pulses|seconds) must be more than 0\.", "Este número tiene que ser mayor que 0."),
    (r"The survey found a service of (\d+) A; a CT rated (\d+) A .*", r"La acometida es de \1 A; un CT de \2 A es demasiado "
     r"pequeño. Lea los "
     r"dos otra vez, o pregunte al electricista."),
    (r"Recorded meanwhile by (.*), for (.*)\.", r"Entre tanto lo anotó \1, para el \2."),
    (r"The service was changed from (\S+) V to (\S+) V\.", r"La acometida se cambió de \1 V a \2 V."),
    (r"(.*) has chosen meanwhile; .*", r"Entre tanto eligió \1; no se cambió nada."),
    (r"This was recorded .* ago; .* only the operations manager corrects it\.", "Esto se anotó otro día; ahora solo lo "
     "corrige la persona a "
     "cargo de operaciones."),
)  # fmt: skip
_STEPS: Final = {"Before": "Antes", "During": "Durante", "After": "Después"}
_LOADS: Final = {"load on A": "carga en A", "load on B": "carga en B", "240 V load": "carga de 240 V"}
_READ: Final = {
    "leg A, W": "fase A, W",
    "leg B, W": "fase B, W",
    "PV, W (0 when off)": "PV, W (0 si está apagado)",
    "battery, W": "batería, W",
}


def said(text: str) -> str:
    """A label, choice, hint or sentence of the form in Spanish; as it is where none is known."""
    if text in LABELS:
        return LABELS[text]
    if found := re.fullmatch(r"(Before|During|After), (.*?): (.*)", text):
        step, load, read = found.groups()
        if load in _LOADS and read in _READ:
            return f"{_STEPS[step]}, {_LOADS[load]}: {_READ[read]}"
    if found := re.fullmatch(r"Known load on leg ([AB]), W", text):
        return f"Carga conocida en la fase {found[1]}, W"
    for pattern, spanish in SENTENCES:
        if found := re.fullmatch(pattern, text, re.DOTALL):
            return found.expand(spanish)
    return text
