"""The `tapproof` command: a group whose commands are imported only when called.

Start-up stays short because nothing numeric, no VISA and no plotting is imported for
`--help`; each command's one-line help therefore stands in the table below, and a test holds
it equal to the command's own.
"""

from __future__ import annotations

import importlib
from typing import Any

import rich_click as click

# Command name: (module, attribute, one-line help).
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("demo", "demo", "Measure a simulated board with two planted faults."),
    "run": ("run", "run", "Measure a board on a bench, judge it, keep the record."),
    "rehearse": ("rehearse", "rehearse", "Run a plan on the simulated twin of your own bench."),
    "runs": ("runs", "runs", "List the runs that are kept."),
    "show": ("show", "show", "Show one run: verdict, checks, worst findings."),
    "judge": ("judge", "judge", "Decide a kept run again from its raw observations."),
    "explain": ("explain", "explain", "Print the uncertainty budget behind one number."),
    "report": ("report", "report", "Write the HTML report of a kept run."),
    "export": ("export", "export", "Write a run's observations as CSV and Parquet."),
    "import": ("importing", "import_", "Take in observations that were measured elsewhere."),
}

EPILOG = (
    "Exit codes: 0 pass, 1 fail, 2 bad input, 3 cannot decide, 4 aborted, 5 conditional pass, "
    "6 something not run, 7 an output could not be proved off, 70 a defect of tapproof itself."
)


class LazyGroup(click.RichGroup):
    """A group that imports a command's module when the command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """A stand-in that knows the one-line help, for the overview and for completion."""
        if cmd_name not in COMMANDS:
            return None
        line = COMMANDS[cmd_name][2]
        return click.RichCommand(name=cmd_name, help=line, short_help=line)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The real command, imported now, for a call."""
        name, command, rest = super().resolve_command(ctx, args)
        return name, load_command(name) if name in COMMANDS else command, rest


def load_command(name: str) -> click.Command:
    """Import the module of the command `name` and return the command."""
    module, attribute, _ = COMMANDS[name]
    command: click.Command = getattr(importlib.import_module(f"harness.cli.{module}"), attribute)
    return command


@click.group(
    cls=LazyGroup,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="tapproof", prog_name="tapproof")
def tapproof() -> None:
    """Measure cell-monitor boards on a bench and judge them with uncertainty.

    Stacks above 60 V DC, stored energy and real cells can hurt people. Never make a live pack
    the first test. Local codes and licensed practice rule over anything said here.
    """


def main(arguments: list[str] | None = None) -> Any:
    """Entry point of the installed command."""
    return tapproof(args=arguments, prog_name="tapproof")


if __name__ == "__main__":
    main()
