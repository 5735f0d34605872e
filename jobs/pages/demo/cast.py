"""Invented people and streets. No name here is anybody's; telephones are 555-01xx, addresses lie under .example."""

from __future__ import annotations

import unicodedata
from random import Random

from jobs.core.intake import NewPerson

FIRST = (
    "Abena", "Adrián", "Aiyana", "Alma", "Amir", "Anjali", "Arturo", "Beatriz", "Bogdan", "Caleb", "Camille", "Chidi", "Clara",
    "Damaris", "Daniel", "Delphine", "Dmitri", "Eamon", "Elena", "Elias", "Emeka", "Esther", "Fatima", "Felix", "Gabriela",
    "Gideon", "Grace", "Hana", "Harold", "Hugo", "Ibrahim", "Imani", "Ingrid", "Isaac", "Ivy", "Jamal", "Janelle", "Javier",
    "June", "Kai", "Kamala", "Katrin", "Kenji", "Laila", "Leon", "Lucía", "Malik", "Marguerite", "Mei", "Mirela", "Nadia",
    "Naomi", "Niamh", "Nikolai", "Noor", "Odette", "Omar", "Pilar", "Priya", "Quentin", "Rafael", "Ravi", "Renata", "Rosalind",
    "Ruben", "Samir", "Selma", "Silas", "Sofía", "Soren", "Tamsin", "Tariq", "Teresa", "Thandiwe", "Tomás", "Una", "Valentina",
    "Vikram", "Wanda", "Winston", "Xiulan", "Yara", "Yusuf", "Zora",
)  # fmt: skip
LAST = (
    "Abernathy", "Achterberg", "Adeyemi", "Alvarado", "Amundsen", "Arceneaux", "Bagchi", "Barrientos", "Begay", "Bellweather",
    "Boateng", "Bračko", "Calloway", "Carrasco", "Chaudhary", "Cho", "Crowfoot", "Dandridge", "Delacroix", "Dominguez",
    "Duarte", "Ekström", "Espinoza", "Fairweather", "Farouk", "Feng", "Fitzsimmons", "Gallegos", "Garrity", "Goldfarb",
    "Hallowell", "Haroutunian", "Hashimoto", "Hinojosa", "Holloway", "Iwu", "Jaramillo", "Kaczmarek", "Kealoha", "Khoury",
    "Kirchner", "Kowalczyk", "Lachance", "Lindqvist", "Lucero", "Mabry", "MacLeish", "Madrigal", "Mbeki", "Montoya", "Nakamura",
    "Nasser", "Oakhurst", "Obuya", "Okafor", "Oyelaran", "Pacheco", "Pettigrew", "Quiñones", "Rahman", "Rasmussen",
    "Redfeather", "Rosales", "Sandoval", "Sato", "Schoonover", "Sepúlveda", "Singh", "Sokolov", "Sørensen", "Tallchief",
    "Thibodeaux", "Trujillo", "Ueda", "Vandermeer", "Vasquez", "Villaseñor", "Washburn", "Whitlock", "Yazzie", "Yoon", "Zamora",
    "Zielinski",
)  # fmt: skip
STREETS = (
    "Old Sawmill Road", "Larch Terrace", "Heron Court", "Copper Kettle Lane", "Weir Street", "Juniper Loop", "Tanager Drive",
    "Millrace Road", "Orchard Step", "Quarry Bend", "Sorrel Way", "Thistle Hill", "Windrow Avenue", "Granary Street",
    "Ferry Landing", "Kestrel Ridge", "Bluestem Circle", "Lantern Row", "Two Ditch Road", "Cinder Path", "Alder Crossing",
    "Foxglove Lane", "Grange Hall Road", "Plum Hollow",
)  # fmt: skip

# Letters that do not come apart into a plain letter and an accent.
_PLAIN = str.maketrans({"ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "ß": "ss", "’": "", "'": ""})


def mailbox(name: str) -> str:
    """The part of an address before the @, in plain letters."""
    plain = unicodedata.normalize("NFKD", name.translate(_PLAIN)).encode("ascii", "ignore").decode().lower()
    return ".".join("".join(letter for letter in word if letter.isalnum()) for word in plain.split())


def phone(draw: Random, area: str) -> str:
    return f"+1{area}55501{draw.randrange(100):02d}"


class Cast:
    """Hands out names and streets so that no two homes have the same."""

    def __init__(self, seed: str) -> None:
        draw = Random(seed)
        names = [f"{first} {last}" for first in FIRST for last in LAST]
        draw.shuffle(names)
        self._names = iter(names)
        self._streets: set[str] = set()

    def person(
        self, draw: Random, *, area: str, name: str = "", language: str = "en", email: str | None = None, relay: bool = False
    ) -> NewPerson:
        name = name or next(self._names)
        address = f"{mailbox(name)}@mail.example" if email is None else email
        return NewPerson(name=name, language=language, phone=phone(draw, area), email=address, needs_relay=relay)

    def street(self, draw: Random, city: str) -> str:
        while True:
            street = f"{draw.randrange(3, 980)} {draw.choice(STREETS)}"
            if (where := f"{street}, {city}") not in self._streets:
                self._streets.add(where)
                return street
