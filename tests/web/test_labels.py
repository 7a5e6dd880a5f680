"""The printed labels, read back from the picture by a reader of another make (ZXing-C++)."""

import io

import httpx
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, expect

from sootline.web.server import Server
from tests.web.visit import opened, sound
from tests.web.workshop import SIZES, Workshop, furnace_now

BASE = "http://192.168.1.20:8470"


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("printed", [False, True], ids=["shown", "printed"])
def test_every_label_opens_the_form_with_its_thing_chosen(
    browser: Browser, server: Server, shop: Workshop, size: str, printed: bool
) -> None:
    shop.live.put(furnace_now(), furnace_now("carriage-shop"))
    with opened(browser, server.url + f"labels?barrels=2&base={BASE}", size, "dark") as page:
        sound(page)
        if printed:
            page.emulate_media(media="print")
            expect(page.locator("#choose")).to_be_hidden()
        read = []
        for label in page.locator(".label").all():
            [code] = zxingcpp.read_barcodes(Image.open(io.BytesIO(label.screenshot())))
            assert code.ec_level == "Q"  # a quarter of it may be dirt (ISO/IEC 18004)
            assert code.text == label.locator(".url").inner_text()
            read.append(code.text)
        log = f"{BASE}/log?furnace="
        assert read == [
            address
            for furnace in ("carriage-shop", "engine-shed")
            for address in (
                f"{log}{furnace}", f"{log}{furnace}&kind=filter",
                f"{log}{furnace}&kind=batch&thing=Barrel+1", f"{log}{furnace}&kind=batch&thing=Barrel+2",
            )
        ]  # fmt: skip
        page.emulate_media(media="screen")
        page.goto(server.url.rstrip("/") + read[-1].removeprefix(BASE))
        expect(page.locator("input[name=furnace]:checked")).to_have_value("engine-shed")
        expect(page.locator("input[name=kind]:checked")).to_have_value("batch")
        expect(page.locator("input[name=thing]")).to_have_value("Barrel 2")
        expect(page.get_by_text("settled a week")).to_be_visible()


@pytest.mark.parametrize(
    "base", ["javascript:alert(1)", "http://x y", "ftp://a", "http://a/b?c=d", "http://'onload='x"]
)
def test_an_address_that_is_none_is_refused(client: httpx.Client, shop: Workshop, base: str) -> None:
    shop.live.put(furnace_now())
    text = client.get("/labels", params={"base": base}).text
    assert "Give an address such as" in text and base not in text


def test_labels_that_only_this_machine_could_use_say_so(client: httpx.Client, shop: Workshop) -> None:
    shop.live.put(furnace_now())
    assert "Only this machine can read these" in client.get("/labels").text
    assert "Only this machine" not in client.get("/labels", params={"base": BASE}).text
    assert client.get("/labels", params={"barrels": "999"}).text.count('class="label"') == 2 + 12
    assert client.get("/labels", params={"furnace": "nowhere", "barrels": "0"}).text.count('class="label"') == 2
