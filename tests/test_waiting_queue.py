"""What a phone keeps until the studio has it: the browser's side alone, on a page with no studio behind it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import PATIENCE_MS

SCRIPT = Path(__file__).parents[1] / "ui" / "serving" / "waiting.js"
PAGE = """<!doctype html><div data-testid="stApp"></div><div class="pm-tap" data-piece="a1" data-at="2" data-once="no">
<div class="st-key-bench-pass"><button>Count</button></div><div class="st-key-bench-next"><button>Next</button></div>
</div><div class="pm-take"><input type="file" data-form="target"></div>"""
CLOSE_AS_A_SLEEPING_PHONE_DOES = """
const open = indexedDB.open.bind(indexedDB);
indexedDB.open = (...asked) => {
  const request = open(...asked);
  request.addEventListener("success", () => (window.database = request.result));
  return request;
};"""
REFUSE = "indexedDB.open = () => { throw new DOMException('refused', 'SecurityError'); };"

KEPT = """() => new Promise((resolve) => {
  const asked = indexedDB.open("patina-waiting");
  asked.onsuccess = () => {
    const found = asked.result.transaction("waiting").objectStore("waiting").getAll();
    found.onsuccess = () => { asked.result.close(); resolve((%s)(found.result)); };
  };
})"""
"""What the browser's own database holds is put in and taken out in its own time."""
NOTHING_KEPT = KEPT % "(kept) => kept.length === 0"
ALL_ANSWERED = KEPT % "(kept) => kept.length > 0 && kept.every((one) => one.answer)"


class Phone:
    """A page with the two large buttons. taken: the taps that the studio took in; answers: whether it does."""

    def __init__(self, context: Any, prepared: str = "") -> None:
        self.taken: list[dict[str, Any]] = []
        self.answers = False
        self.refuses: int | None = None
        self.says_why = ""
        self.page = context.new_page()
        self.page.add_init_script(prepared)
        self.page.route("http://localhost:9/**", self._answer)

    def _answer(self, route: Any) -> None:
        request = route.request
        if request.method == "GET":
            script = request.url.endswith(".js")
            body = SCRIPT.read_text(encoding="utf-8") if script else PAGE
            route.fulfill(body=body, content_type="text/javascript" if script else "text/html")
        elif self.refuses is not None:
            route.fulfill(status=self.refuses, body=json.dumps({"said": self.says_why}) if self.says_why else "no")
        elif self.answers:
            self.taken.append(json.loads(request.post_data))
            route.fulfill(json={"kept": True})
        else:
            route.abort()

    def signs_in(self, whose: str) -> None:
        """Open the page anew, as somebody."""
        self.page.goto("http://localhost:9/")
        self.page.evaluate(
            """async (whose) => {
                const { default: run } = await import("/waiting.js");
                window.told = [];
                window.run = (heard) => run({
                    data: { taps: "/taps", photographs: "/photographs", sign_in: "/sign-in", whose, heard },
                    setTriggerValue: (_, batch) => window.told.push(batch),
                });
                window.run("");
            }""",
            whose,
        )

    def taps(self, button: str) -> None:
        self.page.get_by_role("button", name=button).click()

    def says(self, text: str) -> None:
        self.page.locator(".pm-waiting").get_by_text(text, exact=True).wait_for()

    def is_silent(self) -> None:
        self.page.locator(".pm-waiting").wait_for(state="hidden")


@pytest.fixture
def context(chromium: Any) -> Iterator[Any]:
    made = chromium.new_context()
    made.set_default_timeout(PATIENCE_MS)
    yield made
    made.close()


def test_a_tap_is_kept_though_the_browser_has_closed_its_database(context: Any) -> None:
    """Indexed Database API 3.0, 5.2: a connection may be closed from outside, and then gives no transaction."""
    phone = Phone(context, CLOSE_AS_A_SLEEPING_PHONE_DOES)
    phone.signs_in("ines")
    phone.taps("Count")
    phone.says("1 tap kept on this device, waiting to be sent.")
    phone.page.evaluate("window.database.close()")
    phone.taps("Count")
    phone.says("2 taps kept on this device, waiting to be sent.")
    phone.answers = True
    phone.is_silent()
    assert [one["pressed"] for one in phone.taken] == ["count", "count"]
    assert len({one["uid"] for one in phone.taken}) == 2


def test_what_somebody_else_left_waiting_stops_no_tap_of_who_signs_in_after_them(context: Any) -> None:
    phone = Phone(context)
    phone.signs_in("ines")
    phone.taps("Next")
    phone.says("1 tap kept on this device, waiting to be sent.")
    phone.signs_in("marek")
    phone.says("1 tap of somebody else kept on this device until they sign in here.")
    phone.taps("Next")
    phone.says(
        "1 tap kept on this device, waiting to be sent. 1 tap of somebody else kept on this device until they sign in "
        "here."
    )
    phone.answers = True
    phone.says("1 tap of somebody else kept on this device until they sign in here.")
    assert len(phone.taken) == 1
    phone.signs_in("ines")
    phone.page.wait_for_function(ALL_ANSWERED)
    phone.is_silent()
    assert len(phone.taken) == 2, "and what was hers was sent once she was back"


def test_a_private_window_keeps_taps_in_memory_and_warns_before_they_are_lost(context: Any) -> None:
    phone = Phone(context, REFUSE)
    phone.signs_in("ines")
    phone.taps("Count")
    phone.says("1 tap kept on this device, waiting to be sent.")
    asked: list[str] = []
    phone.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    with phone.page.expect_event("dialog"):
        phone.page.evaluate("location.assign('/elsewhere')")
    phone.answers = True
    phone.is_silent()
    assert asked == ["beforeunload"] and len(phone.taken) == 1


def test_a_page_that_another_has_signed_in_behind_is_loaded_anew(context: Any) -> None:
    phone = Phone(context)
    phone.signs_in("ines")
    with phone.page.expect_navigation():
        phone.page.evaluate(
            """async () => {
                const { default: run } = await import("/waiting.js");
                run({ data: { whose: "marek", heard: "" }, setTriggerValue: () => {} });
            }"""
        )


def test_a_tap_that_is_refused_for_good_says_so_and_holds_up_no_other(context: Any) -> None:
    """RFC 9110, 15.5: of the client's errors only some are for now (408; RFC 8470, 425; RFC 6585, 429)."""
    phone = Phone(context)
    phone.signs_in("ines")
    for status in (429, 503):
        phone.refuses = status
        with phone.page.expect_response("**/taps"):
            phone.taps("Count")
    phone.says("2 taps kept on this device, waiting to be sent.")
    phone.refuses = 403
    phone.is_silent()
    phone.page.wait_for_function("window.told.length > 0")
    told = phone.page.evaluate("window.told[0].sent")
    assert [one["kept"] for one in told] == [False, False] and "refused a tap (403)" in told[0]["said"]
    phone.refuses, phone.answers = None, True
    with phone.page.expect_response("**/taps"):
        phone.taps("Count")
    assert len(phone.taken) == 1


def test_a_photograph_stays_on_the_device_whatever_is_answered(context: Any) -> None:
    phone = Phone(context)
    phone.signs_in("ines")
    phone.refuses = 403
    phone.page.locator("input").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"the only one"})
    phone.says("1 photograph kept on this device, waiting to be sent.")
    phone.page.wait_for_timeout(500)
    phone.says("1 photograph kept on this device, waiting to be sent.")
    phone.signs_in("ines")
    phone.says("1 photograph kept on this device, waiting to be sent.")


def test_why_the_studio_cannot_keep_it_just_now_stands_beside_what_waits(context: Any) -> None:
    phone = Phone(context)
    phone.signs_in("ines")
    phone.refuses, phone.says_why = 503, "The disk is full: free some room."
    phone.taps("Count")
    phone.says("1 tap kept on this device, waiting to be sent. The disk is full: free some room.")
    phone.refuses, phone.answers = None, True
    phone.is_silent()


def test_what_the_studio_said_is_told_though_the_page_was_put_away_before_it_heard(context: Any) -> None:
    """A photograph that the studio had kept was nowhere: gone from the phone, and not in the form."""
    phone = Phone(context)
    phone.signs_in("ines")
    phone.page.evaluate("window.told.push = () => {}")  # its own connection is not back yet
    phone.answers = True
    phone.taps("Count")
    phone.page.wait_for_function(ALL_ANSWERED)  # or it is rightly sent again, and counted once by its uid
    phone.is_silent()
    for _ in range(2):
        phone.signs_in("ines")
        phone.page.wait_for_function("window.told.length > 0")
        assert [one["kept"] for one in phone.page.evaluate("window.told[0].sent")] == [True]
    phone.page.evaluate("window.run(window.told[0].uid)")
    phone.page.wait_for_function(NOTHING_KEPT)
    phone.signs_in("ines")
    phone.page.wait_for_timeout(500)
    assert phone.page.evaluate("window.told.length") == 0, "once it was heard it is forgotten"
    assert len(phone.taken) == 1
