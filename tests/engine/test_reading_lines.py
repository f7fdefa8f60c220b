"""Lines of keys, nesting, and the TOML text that is written: against the standard library's parser."""

import tomllib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from waveflow.engine.lines import DEEPEST, key_lines, too_deep
from waveflow.engine.resolved import toml_text

TEXT = '''\
# a comment with = and [ in it
name = "x # no comment"   # but this is one

a.b.c = 1.5e+3
[intake.port]
stations = [
  { at = "0 mm", w = [1, 2] },  # first
  # between
  { at = "1.5 mm" },
]
"q u" = 1979-05-27T07:32:00.5Z
[[x]]
k = 1
[x.y]
z = 2
[[x]]
k = """a
 = b""" + 0
'''


def test_lines_of_a_written_out_example():
    text = TEXT.replace('""" + 0', '"""')
    assert tomllib.loads(text)["x"][1]["k"] == "a\n = b"
    lines = key_lines(text)
    assert lines == {
        ("name",): 2, ("a",): 4, ("a", "b"): 4, ("a", "b", "c"): 4, ("intake",): 5, ("intake", "port"): 5,
        ("intake", "port", "stations"): 6, ("intake", "port", "stations", 0): 7,
        ("intake", "port", "stations", 0, "at"): 7, ("intake", "port", "stations", 0, "w"): 7,
        ("intake", "port", "stations", 0, "w", 0): 7, ("intake", "port", "stations", 0, "w", 1): 7,
        ("intake", "port", "stations", 1): 9, ("intake", "port", "stations", 1, "at"): 9,
        ("intake", "port", "q u"): 11, ("x",): 12, ("x", 0): 12, ("x", 0, "k"): 13, ("x", 0, "y"): 14,
        ("x", 0, "y", "z"): 15, ("x", 1): 16, ("x", 1, "k"): 17,
    }  # fmt: skip


def paths(tree, at=()):
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for name, value in items:
        yield (*at, name)
        if isinstance(value, (dict, list)):
            yield from paths(value, (*at, name))


keys = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\r"), min_size=1, max_size=6)
plain = st.one_of(
    st.booleans(), st.integers(-(10**12), 10**12), st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=12),
)  # fmt: skip
lists = st.lists(st.one_of(plain, st.dictionaries(keys, plain, max_size=3), st.lists(plain, max_size=3)), max_size=4)
trees = st.dictionaries(
    keys, st.recursive(plain | lists, lambda inner: st.dictionaries(keys, inner, max_size=4), max_leaves=12), max_size=5
)


@given(trees)
def test_what_is_written_reads_back(tree):
    assert tomllib.loads(toml_text(tree)) == tree


@given(trees)
def test_every_key_and_item_has_its_line(tree):
    text = toml_text(tree)
    lines = key_lines(text)
    assert set(lines) == set(paths(tree))
    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())


@given(trees, st.integers(0, 5))
def test_lines_move_with_the_text(tree, blank):
    text = toml_text(tree)
    moved = key_lines("\n" * blank + text)
    assert moved == {key: line + blank for key, line in key_lines(text).items()}


@given(st.text(alphabet='[]{}"\'=,.#\\\nab1 ', max_size=80))
@example('"\\1"')
@example("=[}")
@example(", =[}{ 1 ]]")
def test_any_text_can_be_scanned(text):
    assert too_deep(text) == 0
    key_lines(text)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = " + "[" * 64 + "]" * 64, 0),
        ("a = " + "[" * 65 + "]" * 65, 1),
        ("\n\na = " + "{b=" * 65, 3),
        (".".join("a" * 64) + " = 1", 0),
        (".".join("a" * 65) + " = 1", 1),
        ("[" + ".".join("a" * 70) + "]", 1),
        ("a = '" + "[" * 100 + "'", 0),
        ('a = """' + "[" * 100 + '"""', 0),
        ("# " + "[" * 100, 0),
        ("a = 1\n" * 100 + "b = 1.5", 0),
    ],
)
def test_depth_is_counted_outside_strings_and_comments(text, line):
    assert DEEPEST == 64
    assert too_deep(text) == line
