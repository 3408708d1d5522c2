"""A large JPEG shows before its lamps are found, and then as it is."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from tests.live.pages import client_of, codes_in, page_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A long JPEG, large enough to be read coarser, and a small one, both with a hard edge."""
    folder = tmp_path_factory.mktemp("large")
    across = np.linspace(20, 160, 5200)
    across[2600:] += 60
    codes = np.repeat(np.tile(across, (64, 1)).round().astype(np.uint8)[..., np.newaxis], 3, axis=2)
    Image.fromarray(codes).save(folder / "a.jpg", quality=95)
    Image.fromarray(codes[:, :600]).save(folder / "b.jpg", quality=95)
    Image.fromarray(codes[:8]).save(folder / "c.png")
    (folder / "d.jpg").write_bytes((folder / "a.jpg").read_bytes()[:900])
    return folder


def test_a_draft_is_the_still_at_the_pages_size(folder):
    client = client_of(page_of(folder))
    draft = codes_in(client.get("still/0/draft"))
    client.get("still/0")
    whole = codes_in(client.get("still/0/exact"))
    assert draft.shape == whole.shape == (16, 1280, 3)
    off = np.abs(draft.astype(int) - whole)
    assert np.mean(off > 1) < 0.01
    # Averaged as codes the edge would be off by more.
    assert off.max() <= 6


@pytest.mark.parametrize("number", [1, 2, 3])
def test_what_is_small_or_no_jpeg_or_damaged_has_none(folder, number):
    reply = client_of(page_of(folder)).get(f"still/{number}/draft")
    assert (reply.status_code, reply.content) == (200, b"")


def test_one_that_is_open_has_none(folder):
    client = client_of(page_of(folder))
    client.get("still/0")
    assert client.get("still/0/draft").content == b""


def test_a_film_reads_no_more_than_it_shows(folder, monkeypatch):
    page = page_of(folder)
    seen: list[int] = []

    def shown(picture):
        seen.append(picture.width_px)
        return picture.radiance

    monkeypatch.setattr("frontglass.live.table.shown_codes", shown)
    page.table.film(0)
    assert seen == [168]
    assert page.table._read is None
