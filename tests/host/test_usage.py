"""Help and refusals: every command line has one voice, fits a terminal of 80 columns and says what to do next."""

import click
import pytest
from click.testing import CliRunner

from bainwright import cli
from bainwright.commands import group
from bainwright.commands.console import fold


def every_command():
    """Each command with its full name, groups and their parts included."""
    for name, command in group.bain.commands.items():
        yield f"bain {name}", command
        if isinstance(command, click.Group):
            for inner, part in command.commands.items():
                yield f"bain {name} {inner}", part


def help_of(*words):
    """A help page as an 80-column terminal shows it."""
    return CliRunner().invoke(group.bain, [*words, "--help"], prog_name="bain", terminal_width=80).output


@pytest.mark.parametrize("words", [(), ("rig",), ("profile",)], ids=lambda words: " ".join(words) or "bain")
def test_no_line_of_a_list_of_commands_is_cut_short(words):
    assert "..." not in help_of(*words).split("Commands:")[1]


@pytest.mark.parametrize(("name", "command"), list(every_command()), ids=[name for name, _ in every_command()])
def test_every_option_has_one_help_line_of_its_own_and_no_word_is_cut(name, command):
    for param in command.params:
        if isinstance(param, click.Option):
            assert param.help, f"{name} {param.opts[-1]}"
    page = help_of(*name.split()[1:])
    assert max(map(len, page.splitlines())) <= 100


def test_a_wrong_value_is_refused_in_our_own_words():
    """An option's own list of words would answer in the voice of the option library."""
    foreign = [f"{name} {param.opts[-1]}" for name, command in every_command() for param in command.params
               if isinstance(param.type, (click.Choice, click.IntRange, click.FloatRange))]
    assert foreign == []


def test_an_option_means_the_same_wherever_it_is_offered():
    """Defined once. Only `rig check` needs no board unless one is named, `board` is always virtual, some seed is a
    mass, and `watch` prints JSON line by line.
    """
    other = {("bain rig check", "--port"), ("bain board", "--plant"), ("bain stock", "--seed"),
             ("bain plan", "--seed"), ("bain watch", "--json")}  # fmt: skip
    common = ("--port", "--json", "--vessel", "--plant", "--seed", "--fahrenheit", "--pounds")
    seen = {(param.opts[-1], param.help) for name, command in every_command() for param in command.params
            if param.opts[-1] in common and (name, param.opts[-1]) not in other}  # fmt: skip
    assert sorted(option for option, _ in seen) == sorted(common)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("hold dark --virtuall", "bain hold has no option --virtuall; did you mean --virtual?"),
        ("rig check pot -x", "bain rig check has no option -x"),
        ("plan", "bain plan: PROFILE is missing; see bain plan --help"),
        ("rig send a b c", "bain rig send does not take 'b c'; see bain rig send --help"),
        ("hold dark --for", "--for needs a value"),
        ("hold dark --json=3", "--json takes no value"),
        ("rig chekc pot", "there is no command 'bain rig chekc'; did you mean check?"),
        ("hodl dark", "there is no command 'bain hodl'; did you mean hold?"),
        ("hold dark --seed x", "--seed: got 'x', wanted a whole number, 0 to 4294967295"),
        ("hold dark --seed 400g", "here --seed is the simulated noise; chocolate seed belongs to bain plan"),
        ("hold dark --seed 99999999999", "wanted a whole number, 0 to 4294967295"),
        ("calibrate --pressure nan", "--pressure: got 'nan', wanted a number"),
        ("temper x --gloss god", "--gloss: got 'god', wanted one of good, dull; did you mean good?"),
    ],
)
def test_wrong_use_is_refused_in_our_words(capsys, typed, words):
    assert cli.main(typed.split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("bain: ")
    assert words in err
    assert "Usage:" not in err
    assert "Error:" not in err


def test_a_wide_line_is_folded_between_words_under_its_own_beginning():
    text = "short\n  a line that is wider than its terminal of forty"
    assert fold(text, 40) == "short\n  a line that is wider than its terminal\n    of forty"
    assert fold("x" * 60 + " end", 40) == "x" * 60 + "\nend"
