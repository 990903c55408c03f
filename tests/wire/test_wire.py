"""The published language: pinned by golden lines, closed under a round trip, deaf to nonsense.

`golden.jsonl` holds lines as version 1 writes them. They are never edited: a change that breaks
one of them is a new version.
"""

import dataclasses
import json
import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import wire
from controller.decision.vocabulary import Fault, Permit, Role
from controller.errors import WireError
from controller.order_kinds import ARGUMENT_NAMES, ORDER_KINDS, misfit
from controller.wire import EventState, Order, PresenceState, Tick

GOLDEN = (Path(__file__).parent / "golden.jsonl").read_text(encoding="utf-8").splitlines()

names = st.from_regex(wire.CHAMBER_NAME, fullmatch=True)
texts = st.text(st.characters(exclude_categories=("Cs",)), max_size=60)
numbers = st.floats(-1e12, 1e12).map(lambda value: round(value, 4))
counts = st.integers(0, 2**53 - 1)
words = st.text(string.ascii_lowercase + "-", min_size=1, max_size=20)

OF_TYPE = {
    "str": texts,
    "str | None": st.none() | texts,
    "int": counts,
    "int | None": st.none() | counts,
    "float": numbers,
    "float | None": st.none() | numbers,
    "bool": st.booleans(),
    "tuple[str, ...]": st.lists(words, max_size=4).map(tuple),
    "Mapping[str, str]": st.dictionaries(words, texts, max_size=4),
    "Mapping[str, float]": st.dictionaries(words, numbers, max_size=4),
}


def any_of(message):
    given_fields = {each.name: OF_TYPE[str(each.type)] for each in dataclasses.fields(message)}
    return st.builds(message, **(given_fields | {"chamber": names}))


messages = st.one_of([any_of(rule.message) for rule in wire.TOPICS])


@pytest.mark.parametrize("line", GOLDEN, ids=lambda line: json.loads(line)["is"])
def test_a_golden_line_is_read_and_written_as_it_was(line):
    assert wire.encode(wire.decode(line)) == line
    assert wire.decode(line.encode()) == wire.decode(line)


@pytest.mark.parametrize("line", GOLDEN)
def test_keys_nobody_knows_are_passed_over(line):
    newer = json.dumps(json.loads(line) | {"zeta_c": 1.5, "more": {"deep": [1, None]}})
    assert wire.decode(newer) == wire.decode(line)


def test_the_golden_lines_show_every_message_every_field_and_every_word():
    bodies = [json.loads(line) for line in GOLDEN]
    for rule in wire.TOPICS:
        shown = {key for body in bodies if body["is"] == rule.name for key in body}
        assert shown >= {each.name for each in dataclasses.fields(rule.message)}, rule.name
    events = {body["state"] for body in bodies if body["is"] == "event"}
    assert events == {each.value for each in EventState}
    presences = {body["state"] for body in bodies if body["is"] == "presence"}
    assert presences == {each.value for each in PresenceState}
    faults = {fault for body in bodies for fault in body.get("faults", {}).values()}
    assert faults == {each.value for each in Fault}
    roles = {role for body in bodies for role in body.get("faults", {})}
    assert roles == {each.value for each in Role}
    kinds = {body["kind"] for body in bodies if body["is"] == "order"}
    assert kinds == {each.name for each in ORDER_KINDS}
    permits = {body["heat_permit"] for body in bodies if body["is"] == "tick"}
    assert permits == {each.name.lower() for each in Permit}


@given(messages)
def test_whatever_is_said_is_understood_as_it_was_said(message):
    line = wire.encode(message)
    assert "\n" not in line
    assert wire.decode(line) == message
    assert wire.decode(line.encode()) == message


@given(st.floats(-300, 300))
def test_a_fraction_is_written_to_ten_thousandths(beer_c):
    line = wire.encode(dataclasses.replace(TICK, beer_c=beer_c))
    assert wire.decode(line).beer_c == pytest.approx(beer_c, abs=0.5e-4)


TICK = Tick("left", "0001-aaaa", 1, 1.8e9, 10.0, True, "hold", 0.0, False, False)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_none_is_never_written(bad):
    with pytest.raises(ValueError):
        wire.encode(dataclasses.replace(TICK, demand=bad))


@given(st.binary(max_size=300))
def test_no_bytes_whatever_do_more_than_be_refused(noise):
    with pytest.raises(WireError):
        wire.decode(noise)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(st.sampled_from(GOLDEN), st.data())
def test_a_field_of_any_other_kind_is_refused_or_understood_but_never_a_crash(line, data):
    body = json.loads(line)
    body[data.draw(st.sampled_from(sorted(body)))] = data.draw(json_values)
    try:
        message = wire.decode(json.dumps(body))
    except WireError as error:
        assert error.remedy
    else:
        wire.encode(message).encode()


@pytest.mark.parametrize("line", GOLDEN)
def test_a_line_cut_anywhere_is_refused(line):
    for end in range(0, len(line), 7):
        with pytest.raises(WireError):
            wire.decode(line[:end])


BODY = json.loads(wire.encode(TICK))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"v": 2}, "version 2; this program reads version 1"),
        ({"v": None}, "version None"),
        ({"is": "wish"}, "'wish', which is no message"),
        ({"is": ["tick"]}, "which is no message"),
        ({"seq": -1}, "seq is -1"),
        ({"seq": 2**53}, "seq is 9007199254740992"),
        ({"seq": 1.0}, "seq is 1.0"),
        ({"seq": True}, "seq is True"),
        ({"utc_s": "now"}, "utc_s is 'now'"),
        ({"utc_s": True}, "utc_s is True"),
        ({"utc_s": 10**400}, "utc_s is 1000"),
        ({"beer_c": None}, "beer_c is None"),
        ({"heat": 1}, "heat is 1"),
        ({"phase": "\ud800"}, "phase is"),
        ({"faults": {"\ud800": "late"}}, "faults is"),
        ({"faults": ["late"]}, "faults is"),
        ({"faults": {"beer": 7}}, "faults.beer is 7"),
        ({"alarms": "none"}, "alarms is 'none'"),
        ({"alarms": [1]}, "alarms is 1"),
        ({"chamber": "Left"}, "'Left' is not one"),
        ({"chamber": "+"}, "'+' is not one"),
        ({"chamber": "a/b"}, "'a/b' is not one"),
        ({"chamber": ""}, "'' is not one"),
        ({"phase": "x" * 16_384}, "over the limit"),
    ],
)
def test_a_refusal_names_what_is_wrong(change, told):
    with pytest.raises(WireError) as caught:
        wire.decode(json.dumps(BODY | change))
    assert told in caught.value.what and len(caught.value.what) < 300


@pytest.mark.parametrize("name", sorted(set(BODY) - {"v", "is", "integral", "heat_permit"}))
def test_a_missing_field_is_named_or_has_its_default(name):
    body = {key: value for key, value in BODY.items() if key != name}
    default = {each.name: each.default for each in dataclasses.fields(Tick)}[name]
    if default is dataclasses.MISSING:
        with pytest.raises(WireError, match=name):
            wire.decode(json.dumps(body))
    else:
        assert getattr(wire.decode(json.dumps(body)), name) == default


def test_numbers_json_does_not_know_are_refused():
    for word in ("NaN", "Infinity", "-Infinity", "1e999"):
        line = wire.encode(TICK).replace('"demand":0.0', f'"demand":{word}')
        with pytest.raises(WireError):
            wire.decode(line)


def test_the_topics_are_the_published_ones():
    assert [wire.topic("left", rule.message) for rule in wire.TOPICS] == [
        "barmkeep/left/tick",
        "barmkeep/left/event",
        "barmkeep/left/presence",
        "barmkeep/left/stored",
        "barmkeep/left/order",
        "barmkeep/left/reply",
    ]
    assert wire.topic("+", Tick) == "barmkeep/+/tick"
    assert [(rule.qos, rule.retained) for rule in wire.TOPICS] == [
        (1, True),
        (1, False),
        (1, True),
        (1, False),
        (1, False),
        (1, False),
    ]


def test_an_ordinary_tick_is_well_under_a_kilobyte():
    assert max(len(line) for line in GOLDEN) < 1000


ORDERS = [message for line in GOLDEN if isinstance(message := wire.decode(line), Order)]


@pytest.mark.parametrize("order", ORDERS, ids=lambda order: order.kind)
def test_every_golden_order_fits_its_row_of_the_table(order):
    assert misfit(order.kind, {name: getattr(order, name) for name in ARGUMENT_NAMES}) is None


def test_the_table_of_orders_and_the_message_name_the_same_arguments():
    own = {"chamber", "id", "issuer", "utc_s", "ttl_s", "kind"}
    assert {each.name for each in dataclasses.fields(Order)} == own | set(ARGUMENT_NAMES)
