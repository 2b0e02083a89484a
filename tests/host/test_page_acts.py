"""Pairing a phone with the page of a hold, and what becomes of its acts on their way to the hold."""

import io
import re
import time
from pathlib import Path

from page_tools import Outline, Phone, code_of, scene_at, served

from bainwright.display.view import PlainLines
from bainwright.live.live_view import LEAST_S, LiveView
from bainwright.live.now import now_of
from bainwright.page import act_routes


def test_a_code_pairs_one_phone_once_and_the_link_alone_pairs_none(page):
    """A messenger that fetches the link for its preview does not use it up."""
    code, phone, second = code_of(page), Phone(page), Phone(page)
    assert phone.ask("GET", f"/in/{code}")[0].getheader("set-cookie") is None
    paired = phone.pair(code)
    cookie = paired.getheader("set-cookie").lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert phone.token
    assert second.pair(code).status == 403
    assert not second.token
    assert "Press p at the PC for a new one." in second.post("/in", f"code={code}")[1]


def test_a_browser_that_stores_no_cookie_learns_it(page):
    """It would only be asked for a code again, and each code pairs once."""
    phone = Phone(page)
    assert phone.pair(code_of(page)).getheader("location") == "/paired"
    assert phone.ask("GET", "/paired")[0].getheader("location") == "/"
    phone.cookie = ""
    answer, text = phone.ask("GET", "/paired")
    assert answer.status == 200
    assert "did not store the cookie" in text


def test_the_pages_of_two_warmers_do_not_take_each_others_phones(page):
    """Browsers send one host's cookies to all of its ports, so the names must differ."""
    with served(scene_at()) as other:
        names = []
        for each in (page, other):
            phone = Phone(each)
            phone.pair(code_of(each))
            names.append(phone.cookie.partition("=")[0])
    assert names[0] != names[1]


def test_an_act_reaches_the_hold_with_what_the_person_saw(page, phone):
    """And the reply comes back."""
    assert phone.act("yes", seen="pour") == (200, {"done": True, "words": "Yes: the warmer has it."})
    assert page.taken[-1] == ("yes", "pour")


def test_who_says_that_they_are_coming_lets_the_alarms_rest():
    """Only a paired phone can say so; the calls of other ways rest too, and the page shows it."""
    scene = scene_at(ask="pour")
    scene.calling = True
    with served(scene) as page:
        phone = Phone(page)
        assert phone.post("/coming", "token=", Accept="application/json")[0].status == 403
        phone.pair(code_of(page))
        assert "I am coming" in phone.ask("GET", "/")[1]
        view = LiveView(PlainLines(io.StringIO()), page.hold)
        view.refresh(scene)
        late = f"token={phone.token}&at={time.monotonic() - 60.0}"
        assert phone.post("/coming", late, Accept="application/json")[0].status == 409
        assert phone.post("/coming", f"token={phone.token}", Accept="application/json")[0].status == 200
        time.sleep(LEAST_S)  # sooner, no moment is put
        view.refresh(scene)
        text = phone.ask("GET", "/")[1]
    assert "Somebody is coming" in text
    assert 'data-coming="1"' in text


def test_a_phone_sounds_for_a_board_that_has_been_silent_for_a_minute():
    """As the other ways to a person do; whoever comes can say so. At the end of a hold a silent board is no alarm."""
    with served(scene_at()) as page:
        phone = Phone(page)
        phone.pair(code_of(page))
        for age_s, over, sounds in ((55.0, False, False), (61.0, False, True), (61.0, True, False)):
            page.latest.put(now_of(scene_at(), over=over), time.monotonic() - age_s)
            text = phone.ask("GET", "/")[1]
            assert f'data-calling="{int(sounds)}"' in text
            assert ("I am coming" in text) == sounds


def test_without_a_script_the_reply_is_shown_once(page, phone):
    """The form leads back to the page, so that loading it again does not act again."""
    answer, _ = phone.post("/act", f"token={phone.token}&act=test&seen=")
    assert (answer.status, answer.getheader("location")) == (303, "/")
    assert "Test the temper: the warmer has it." in phone.ask("GET", "/")[1]
    assert "the warmer has it" not in phone.ask("GET", "/")[1]


def test_without_a_script_a_knuckle_that_taps_twice_acts_once(monkeypatch, page):
    """A page without a script sends each tap. With a script the page itself waits."""
    taken, phone = len(page.taken), Phone(page)
    phone.pair(code_of(page))

    def tap():
        phone.post("/act", f"token={phone.token}&act=thickens&seen=")
        return phone.ask("GET", "/")[1]

    assert "the warmer has it" in tap()
    assert "The second of two taps was not sent" in tap()
    monkeypatch.setattr(act_routes, "TWICE_S", 0.0)
    assert "the warmer has it" in tap()
    assert [name for name, _ in page.taken[taken:]] == ["thickens", "thickens"]


def test_without_a_script_what_ends_the_hold_is_on_a_page_that_does_not_load_itself_again(page, phone):
    """Between its two taps nothing closes; the page of the hold itself loads again every five seconds."""
    text = phone.ask("GET", "/")[1]
    assert re.search(r"<noscript><meta http-equiv=.refresh.", text)
    link = re.search(r'<noscript><a[^>]*href="(/end[^"]*)"', text)[1]
    answer, text = phone.ask("GET", link)
    assert answer.getheader("refresh") is None
    assert "refresh" not in text
    Outline(text)
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    assert {"token", "warmer", "hold", "drawn"} == set(fields)
    assert 'value="stop"' in text
    taken = len(page.taken)
    sent = "&".join(f"{name}={value}" for name, value in [*fields.items(), ("act", "stop")])
    assert phone.post("/act", sent)[0].getheader("location").startswith("/?warmer=")
    assert [name for name, _ in page.taken[taken:]] == ["stop"]


def test_who_is_not_paired_does_not_see_what_ends_the_hold(page):
    """They learn how to pair; a hold that is not there leads back."""
    assert Phone(page).ask("GET", "/end")[0].getheader("location") == "/in"
    assert Phone(page).ask("GET", "/end?warmer=tub")[0].getheader("location") == "/"


def test_an_act_that_the_hold_does_not_take_is_withdrawn_and_the_phone_learns_it(monkeypatch):
    """The PC looks for the board, or draws: the act must not arrive minutes later."""
    monkeypatch.setattr(act_routes, "ARRIVES_S", 0.1)
    with served(scene_at()) as page:
        page.stopped.set()  # the hold takes nothing
        phone = Phone(page)
        phone.pair(code_of(page))
        status, reply = phone.act("bowl_off")
        assert (status, reply["done"]) == (409, False)
        assert "did not arrive" in reply["words"]
        assert page.inbox.take() is None


def test_an_act_that_was_long_on_its_way_is_not_sent(page, phone):
    """What is sent into a lost link arrives once it is back; by then the phone has said that it did not arrive."""
    taken, now_s = len(page.taken), time.monotonic()
    for at in (now_s - 60.0, "nan", "no time"):
        status, reply = phone.act("yes", seen=f"pour&at={at}")
        assert (status, reply["done"]) == (409, False)
        assert "too late" in reply["words"]
    assert len(page.taken) == taken
    assert phone.act("yes", seen=f"pour&at={now_s - 0.5}")[0] == 200
    assert len(page.taken) == taken + 1


def test_without_a_script_an_act_from_an_old_page_is_not_sent(page):
    """It lay in a lost link, or its person does not see the present."""
    taken, now_s, phone = len(page.taken), time.monotonic(), Phone(page)
    phone.pair(code_of(page))
    drawn_s = float(re.search(r'name="drawn" value="([^"]+)"', phone.ask("GET", "/")[1])[1])
    assert abs(drawn_s - now_s) < 60.0
    for drawn in (now_s - act_routes.DRAWN_S - 1.0, "nan", "never"):
        assert phone.act("yes", seen=f"pour&drawn={drawn}")[0] == 409
    assert phone.act("yes", seen=f"pour&at={now_s - 60.0}&drawn={now_s}")[0] == 409
    assert len(page.taken) == taken
    assert phone.act("yes", seen=f"pour&drawn={time.monotonic() - 1.0}")[0] == 200


def test_a_knuckle_that_bounces_takes_nothing_back(monkeypatch, page):
    """The opposite of an act comes to its button's place. Pressed again it is sent; other acts are not affected."""
    taken, phone = len(page.taken), Phone(page)
    phone.pair(code_of(page))
    assert phone.act("pause")[0] == 200
    status, reply = phone.act("resume")
    assert (status, "Press it again" in reply["words"]) == (409, True)
    assert phone.act("test")[0] == 200
    assert phone.act("bowl_off")[0] == 200
    assert phone.act("bowl_off")[0] == 200
    monkeypatch.setattr(act_routes, "BOUNCE_S", 0.0)
    assert phone.act("bowl_on")[0] == 200
    assert [name for name, _ in page.taken[taken:]] == ["pause", "test", "bowl_off", "bowl_off", "bowl_on"]


def test_a_phone_gives_its_act_up_only_when_it_can_no_longer_arrive():
    """Its wait is in the script; the longest that an act may take is in the server."""
    script = (Path(act_routes.__file__).parent / "static/live.js").read_text()
    gives_up_s = int(re.search(r"ANSWER_MS = (\d+)", script)[1]) / 1000
    assert gives_up_s > act_routes.ON_ITS_WAY_S + act_routes.ARRIVES_S


def test_a_phone_that_hammers_is_slowed_down_and_others_are_not(page):
    """Twenty acts in ten seconds."""
    one, other = Phone(page), Phone(page)
    one.pair(code_of(page))
    other.pair(code_of(page))
    statuses = [one.act("test")[0] for _ in range(25)]
    assert statuses.count(429) == 5
    assert other.act("test")[0] == 200
