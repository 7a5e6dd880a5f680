"""Who may see and do what."""

import httpx
import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from sootline.people.person import NOBODY, ROLES, Act, Person, Role, may
from sootline.web.access import NEEDS, guarded
from sootline.web.people import person_of
from tests.web.test_pages import token
from tests.web.workshop import Workshop, alarm, furnace_now


@pytest.mark.parametrize(
    ("act", "least"), [("see", "viewer"), ("acknowledge", "helper"), ("log", "helper"), ("manage", "owner")]
)
def test_each_role_may_do_what_the_lesser_ones_may(act: Act, least: Role) -> None:
    allowed = [role for role in ROLES if may(Person("Maud", role), act)]
    assert allowed == list(ROLES[ROLES.index(least) :])


def test_a_request_that_nobody_looked_at_is_nobodys() -> None:
    assert person_of(Request({"type": "http"})) == NOBODY


def test_an_address_without_a_role_cannot_be_served() -> None:
    async def page(_: Request) -> Response:
        return Response()

    with pytest.raises(LookupError, match="POST /new"):
        guarded([Route("/new", page, methods=["POST"])], None)  # type: ignore[arg-type]
    assert set(NEEDS.values()) <= set(ROLES)


def test_without_accounts_the_name_is_the_one_given(client: httpx.Client, shop: Workshop) -> None:
    stall = alarm()
    shop.live.put(furnace_now(alarms=(stall,)))
    client.post(
        "/acknowledge",
        data={
            "token": token(client), "furnace": "engine-shed", "alarm": "refill-timeout", "channel": "",
            "raised": str(stall.raised_ms), "by": "Pim", "back": "/",
        },
    )  # fmt: skip
    assert shop.live.acts == [("acknowledge", stall.key, "Pim")]
