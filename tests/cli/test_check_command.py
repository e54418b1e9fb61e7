"""`countdown check`: exit 0 or 1, one line for each fault."""

from pathlib import Path

import typer
from typer.testing import CliRunner

from bot.cli.check import check

app = typer.Typer()
app.command()(check)


def test_the_shipped_content_may_go_live() -> None:
    result = CliRunner().invoke(app, [])
    assert (result.exit_code, result.stdout) == (0, "No faults.\n")


def test_every_fault_is_one_line_with_code_file_and_line(tmp_path: Path) -> None:
    talks = tmp_path / "flows" / "talks"
    talks.mkdir(parents=True)
    (talks / "bad.yaml").write_text("flow: bad\n\ttitle: Tab\n")
    result = CliRunner().invoke(app, [str(tmp_path / "flows")])
    assert result.exit_code == 1
    assert "F002 flows/talks/bad.yaml:2: a tab in the indentation. Use two spaces" in result.stdout
