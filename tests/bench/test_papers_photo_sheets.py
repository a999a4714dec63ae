"""Cards, mats and the carrier from the bench: for every signed-in phone, never for a stranger."""

from __future__ import annotations

import re
from io import BytesIO
from zipfile import ZipFile

import pytest

from bench.hall import Hall
from unit.pdf_paths import page_sizes_mm

SHEETS = {
    "/papers/cards.pdf": ("tag-cards-a4", (210.0, 297.0)),
    "/papers/cards.pdf?paper=letter": ("tag-cards-letter", (215.9, 279.4)),
    "/papers/mat.pdf": ("mat-a4", (210.0, 297.0)),
    "/papers/mat.pdf?paper=letter": ("mat-letter", (215.9, 279.4)),
    "/papers/mat.pdf?paper=a3": ("mat-a3", (297.0, 420.0)),
}
PAGES = ("/papers/for-photos/", "/papers/cards.pdf", "/papers/mat.pdf", "/papers/card-carrier.3mf")


@pytest.mark.parametrize("address", SHEETS)
def test_a_builders_phone_gets_every_sheet_in_its_size(hall: Hall, address: str) -> None:
    name, size_mm = SHEETS[address]
    answer = hall.client(hall.builder).get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="{name}.pdf"'
    assert page_sizes_mm(answer.content)[0] == pytest.approx(size_mm, abs=0.02)


def test_asked_for_twice_it_is_the_same_file(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    assert client.get("/papers/mat.pdf").content == client.get("/papers/mat.pdf?paper=a4").content


@pytest.mark.parametrize(
    "address", ["/papers/cards.pdf?paper=a3", "/papers/mat.pdf?paper=../../etc", "/papers/cards.pdf?paper="]
)
def test_a_paper_that_there_is_not_is_refused_in_words(hall: Hall, address: str) -> None:
    answer = hall.client(hall.inspector).get(address)
    assert answer.status_code == 400
    assert "expected one of a4, letter" in answer.content.decode()


def test_the_page_for_phones_leads_to_all_of_them(hall: Hall) -> None:
    client = hall.client(hall.builder)
    page = client.get("/papers/for-photos/").content.decode()
    linked = re.findall(r'href="(/papers/[^"]+\.(?:pdf|3mf)[^"]*)"', page)
    assert len(linked) == 6
    for address in linked:
        assert client.get(address).status_code == 200
    assert "99.5 to 100.5 mm" in page


def test_the_leads_papers_lead_there(hall: Hall) -> None:
    assert 'href="/papers/for-photos/"' in hall.client(hall.lead).get("/papers/").content.decode()


def test_the_carrier_is_a_file_to_keep(hall: Hall) -> None:
    answer = hall.client(hall.builder).get("/papers/card-carrier.3mf")
    assert answer["Content-Disposition"] == 'attachment; filename="card-carrier.3mf"'
    with ZipFile(BytesIO(answer.content)) as package:
        assert "3D/3dmodel.model" in package.namelist()


@pytest.mark.parametrize("address", PAGES)
def test_who_is_not_signed_in_is_asked_to(hall: Hall, address: str) -> None:
    answer = hall.client().get(address)
    assert answer.status_code == 302
    assert "/sign-in/" in answer["Location"]


@pytest.mark.parametrize("address", PAGES)
def test_sending_something_there_changes_nothing(hall: Hall, address: str) -> None:
    assert hall.client(hall.lead).post(address).status_code == 405
