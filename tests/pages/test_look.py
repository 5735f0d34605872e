"""The look's promises that a machine can hold: colours, contrast, no inline style or script, cautions in both languages."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django import forms
from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

from jobs.core import cautions
from jobs.core.forms import DayField, OfficeForm
from jobs.pages.templatetags import office

ROOT = Path(settings.BASE_DIR)
STATIC = ROOT / "jobs" / "pages" / "static"
SHEETS = sorted(STATIC.glob("*.css"))
# Mail is read in programs that know no style sheets of ours; all else is a page.
PAGES = [path for path in sorted((ROOT / "templates").rglob("*.html")) if not re.match(r"mail\.html|body\.", path.name)]

INK, INK_2, LINE, PAPER, MARGIN, PRESS = "#141C18", "#45514A", "#75827A", "#FFFFFF", "#E9EFEA", "#D5DFD8"
DANGER, WARNING, CAUTION, NOTICE, BLACK = "#B3141D", "#FF8200", "#FFD100", "#00539B", "#000000"
# The tokens of LOOK.md, section 2; with them the black of the text on orange and yellow and the grey of a chart's hatching.
TOKENS = {INK, INK_2, LINE, "#BFCAC2", "#DDE4DF", PAPER, MARGIN, "#F3F6F4", PRESS, DANGER, WARNING, CAUTION, NOTICE, BLACK, "#8B978F"}


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour. Source: WCAG 2.2, glossary."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Source: WCAG 2.2, glossary, "contrast ratio"."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def without_comments(sheet: Path) -> str:
    return re.sub(r"/\*.*?\*/", "", sheet.read_text("utf-8"), flags=re.DOTALL)


def colours_of(sheet: Path) -> list[str]:
    return [colour.upper() for colour in re.findall(r"#[0-9A-Fa-f]{3,8}\b", without_comments(sheet))]


# TRADE.md row X1; source: WCAG 2.2 success criterion 1.4.3, whose threshold of 4.5 lies between these two greys.
@pytest.mark.parametrize(("grey", "ratio", "passes"), [("#767676", 4.54, True), ("#777777", 4.48, False)])
def test_our_contrast_is_that_of_wcag(grey, ratio, passes):
    assert round(contrast(grey, "#FFFFFF"), 2) == ratio
    assert (contrast(grey, "#FFFFFF") >= 4.5) is passes


@pytest.mark.parametrize(
    ("text", "ground", "ratio"),
    [
        (INK, PAPER, 17.4),
        (INK, MARGIN, 14.9),
        (INK, PRESS, 12.7),
        (INK_2, PAPER, 8.3),
        (INK_2, MARGIN, 7.1),
        (INK_2, PRESS, 6.1),
        (LINE, PAPER, 4.0),
        (LINE, MARGIN, 3.4),
        (PAPER, DANGER, 6.9),
        (BLACK, WARNING, 8.45),  # LOOK.md rounds it to 8.5
        (BLACK, CAUTION, 14.4),
        (PAPER, NOTICE, 7.7),
    ],
)
def test_the_tokens_have_the_contrast_that_the_look_states(text, ground, ratio):
    assert contrast(text, ground) == pytest.approx(ratio, abs=0.051)


def test_every_colour_of_the_style_sheets_is_a_token():
    used = {sheet.name: set(colours_of(sheet)) for sheet in SHEETS}

    assert len(used["common.css"]) > 10
    assert {name: colours - TOKENS for name, colours in used.items() if colours - TOKENS} == {}
    for sheet in SHEETS:
        text = without_comments(sheet)
        assert not re.search(r"\b(rgba?|hsla?|hwb|lab|lch|oklch|color-mix|linear-gradient|radial-gradient)\(", text), sheet.name
        assert not re.search(r":\s*[^;{]*\b(red|green|blue|orange|yellow|gr[ae]y|white)\b\s*[;!]", text), sheet.name


def test_colours_are_named_once_and_the_four_of_the_cautions_paint_their_signal_panels_only():
    for sheet in SHEETS:
        assert sheet.name == "common.css" or not colours_of(sheet)
    for token in ("danger", "warning", "caution", "notice"):
        rules = [line for sheet in SHEETS for line in without_comments(sheet).splitlines() if f"var(--{token})" in line]
        assert len(rules) == 1
        assert re.match(rf"\.caution\.{token}(-level)? \.signal ", rules[0].strip())


def test_nothing_moves_floats_or_fades():
    for sheet in SHEETS:
        assert not re.search(r"\b(animation|transition|@keyframes|text-shadow|filter:|opacity)", without_comments(sheet)), sheet.name


def test_no_page_has_inline_style_or_script():
    assert len(PAGES) > 20
    for page in PAGES:
        text = page.read_text("utf-8")
        assert not re.search(r"\sstyle\s*=|<style\b|\son[a-z]+\s*=\s*[\"']|javascript:", text, re.IGNORECASE), page
        assert all(re.search(r"<script\s[^>]*src=", tag) for tag in re.findall(r"<script\b[^>]*>", text)), page
        assert all(not inside.strip() for inside in re.findall(r"<script\b[^>]*>(.*?)</script>", text, re.DOTALL)), page


def test_every_file_that_the_style_sheets_name_is_there():
    named = [url for sheet in SHEETS for url in re.findall(r'url\("([^"]+)"\)', sheet.read_text("utf-8"))]

    assert len(named) == 6
    assert [url for url in named if not finders.find(url)] == []


def test_no_font_is_loaded_on_a_phone():
    phone = render_to_string("phone.html", {"company": SimpleNamespace(name="Larkhollow Electric", phone="+13035550142"), "lang": "es"})

    linked = re.findall(r'href="/static/([^"]+)"', phone)
    assert sorted(name.partition(".")[0] for name in linked) == ["common", "phone"]
    assert "@font-face" not in (STATIC / "common.css").read_text("utf-8") + (STATIC / "phone.css").read_text("utf-8")
    assert "tel:+1-303-555-0142" in phone


def test_every_caution_speaks_both_languages():
    for name, caution in cautions.CAUTIONS.items():
        assert re.fullmatch(r"\S.*[.?]", caution.en), name
        assert re.fullmatch(r"\S.*[.?]", caution.es), name
        assert caution.en != caution.es, name
        assert not re.match(r"(DANGER|WARNING|CAUTION|NOTICE|PELIGRO|ADVERTENCIA|PRECAUCI|AVISO)", caution.en + caution.es), name
        # A number, a statute or a document named in one language is named in the other.
        assert re.findall(r"\d+|OSHA|NFPA|\bCT\b", caution.en) == re.findall(r"\d+|OSHA|NFPA|\bCT\b", caution.es), name


# Source: ANSI Z535.4 for the English words; the Spanish ones are those of LOOK.md section 5.
@pytest.mark.parametrize(
    ("name", "lang", "word", "kind"),
    [
        ("live_conductors", "en", "DANGER", "danger"),
        ("live_conductors", "es", "PELIGRO", "danger"),
        ("medical", "en", "WARNING", "warning"),
        ("medical", "es", "ADVERTENCIA", "warning"),
        ("lifts", "en", "CAUTION", "caution-level"),
        ("lifts", "es", "PRECAUCIÓN", "caution-level"),
        ("no_backup_yet", "en", "NOTICE", "notice"),
        ("no_backup_yet", "es", "AVISO", "notice"),
    ],
)
def test_a_caution_is_shown_with_its_signal_word_in_its_panel(name, lang, word, kind):
    shown = render_to_string("_caution.html", office.caution(name, lang))

    assert f"<span>{word}</span>" in shown
    assert f'class="caution {kind}" lang="{lang}"' in shown
    assert ("<svg" in shown) is (kind != "notice")
    assert cautions.of(name).sentence("es" if lang == "es" else "en").startswith(f"{word}. ")


class VisitForm(OfficeForm):
    on = DayField(label="Day at the home", help_text="The day the crew came.")
    seal = forms.ChoiceField(label="Seal", choices=[("whole", "whole"), ("broken", "broken or missing")], widget=forms.RadioSelect)
    note = forms.CharField(label="Note", required=False)


def test_a_refused_form_names_how_many_things_and_links_to_each():
    form = VisitForm({"on": "18 Nov 20026", "note": "gate was open"})

    page = render_to_string("_form.html", {"form": form, "act": "Record visit"})

    assert "Two things to correct before this can be recorded" in page
    assert '<a href="#id_on">Day at the home</a>' in page
    assert '<a href="#id_seal_0">Seal</a>' in page
    assert 'id="id_seal_0"' in page
    assert page.count("<b>Correct this:</b>") == 2
    assert 'aria-invalid="true"' in page
    assert 'aria-describedby="id_on_helptext id_on_error"' in page
    assert 'value="18 Nov 20026"' in page
    assert 'value="gate was open"' in page
    assert page.count("(optional)") == 1
    assert "checked" not in page


def test_a_typed_day_is_shown_back_in_words():
    page = render_to_string("_form.html", {"form": VisitForm({"on": "11/18/26"}), "act": "Record visit"})

    assert 'value="11/18/26"' in page
    assert "Read as Wednesday, 18 November 2026." in page


def test_a_homeowner_s_refused_form_speaks_spanish():
    page = render_to_string("_form.html", {"form": VisitForm({"on": "18 Nov 2026"}, lang="es"), "act": "Enviar"})

    assert "Corrija lo siguiente antes de continuar" in page
    assert "<b>Corrija esto:</b> No ha elegido nada aquí." in page
    assert "(opcional)" in page
    assert "Correct this" not in page


def test_what_a_person_typed_is_never_taken_for_a_page_s_own_words():
    page = render_to_string("_form.html", {"form": VisitForm({"on": '"><script>alert(1)</script>'}), "act": "Record visit"})

    assert "<script>" not in page


def test_the_page_for_our_fault_stands_alone():
    page = render_to_string("500.html", {"number": "7C21", "company": SimpleNamespace(name="Larkhollow Electric", phone="+13035550142")})
    bare = render_to_string("500.html", {})

    assert "7C21" in page
    assert "(303) 555-0142" in page
    assert "The page could not be made." in bare
    assert "None" not in bare
