"""Completions, played in a real bash; what the other shells get is looked at for what it names."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
PLAY = """
source {script}
COMP_WORDS=({words}); COMP_CWORD=$(( ${{#COMP_WORDS[@]}} - 1 )); COMP_LINE="{words}"; COMP_POINT=${{#COMP_LINE}}
$(complete -p pupawatch | sed 's/.*-F \\([^ ]*\\).*/\\1/') pupawatch "${{COMP_WORDS[-1]}}" ""
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


@pytest.fixture
def completed(run: Run, tmp_path: Path) -> Callable[[str], set[str]]:
    """What a real bash offers for what was typed."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("there is no bash here")
    script = tmp_path / "completions"
    script.write_text(run("completions", "bash").out, encoding="utf-8")

    def offered(words: str) -> set[str]:
        done = subprocess.run(
            [bash, "-c", PLAY.format(script=script, words=words)],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            check=True,
        )
        return {line.strip() for line in done.stdout.splitlines() if line.strip()}

    return offered


def test_a_command_is_completed(completed: Callable[[str], set[str]]) -> None:
    assert completed("pupawatch vis") == {"visited"}
    assert completed("pupawatch look") == set()  # an old name works, and is offered to nobody


def test_an_option_is_completed(completed: Callable[[str], set[str]]) -> None:
    assert "--emergency" in completed("pupawatch move --em")


def test_a_file_is_completed(completed: Callable[[str], set[str]], tmp_path: Path) -> None:
    (tmp_path / "season.csv").write_text("label\n", encoding="utf-8")
    assert completed("pupawatch import sea") == {"season.csv"}


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_each_shell_is_told_the_commands(shell: str, run: Run) -> None:
    answer = run("completions", shell)
    assert answer.code == 0
    assert "visited" in answer.out
    assert "looked" not in answer.out


def test_another_shell_is_refused(run: Run) -> None:
    assert run("completions", "fish").code == 2
