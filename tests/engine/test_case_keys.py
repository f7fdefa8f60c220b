"""The list of keys: complete, explained, and true."""

import tomllib

from case_texts import GOOD

from waveflow.engine.case import load_text
from waveflow.engine.keys import every_key


def plain_keys(tree, path=""):
    for name, value in tree.items():
        key = f"{path}.{name}" if path else name
        if isinstance(value, dict):
            yield from plain_keys(value, key)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for item in value:
                yield from plain_keys(item, f"{key}[]")
        else:
            yield key


def test_every_key_of_a_case_is_in_the_list_and_explained():
    lines = list(every_key())
    assert set(plain_keys(tomllib.loads(GOOD))) <= {line.key for line in lines}
    for line in lines:
        assert line.allowed and line.why, line.key
        assert not (line.needed and line.default), line.key


def test_the_defaults_in_the_list_are_those_that_are_filled_in():
    listed = {(line.key, line.default) for line in every_key() if line.default}
    names = {key for key, _ in listed}
    compared = 0
    for each in load_text(GOOD).assumptions:
        key = each.key.split("[")[0] + "[]" + each.key.split("]")[1] if "[" in each.key else each.key
        # the others follow from the rest of the case
        if key in names:
            compared += 1
            assert (key, each.value_text) in listed
    assert compared > 40


def test_no_key_is_listed_twice():
    lines = [(line.key, line.kind) for line in every_key()]
    # a flow kept from the base has the keys of both kinds of flow below it
    single = [each for each in lines if "stock_flow" not in each[0]]
    assert len(single) == len(set(single))
    assert lines.count(("base", "")) == 1
