"""The command line: `seqcheck COMMAND …`. Each command's module is imported only when it is called."""

import gc
import os
import signal
import sys
from difflib import get_close_matches
from importlib import import_module

import click

from seqcheck import __version__

REFUSED, UNDECIDED, INTERNAL_ERROR = 2, 3, 70
COMPLETION = "_SEQCHECK_COMPLETE"
"""Set by a shell that asks for completions."""

COMMANDS = {
    "verify": "Search every reachable state of sequence files and judge their hazards and requirements.",
    "audit": "Tell what each permissive and trip is for, what is refused without need, and what would mend a hazard.",
    "compare": "Tell what a change of a sequence file changes in what the machine does.",
    "faults": "Find the smallest sets of faults that bring about each hazard, and whether stuck signals are noticed.",
    "check-proof": "Confirm a proof file with code that shares nothing with the engines.",
    "procedures": "Tell which procedures work as written, and what every deviation from them comes to.",
    "draw": "Draw step charts, state charts, the map of situations, who locks whom, and timing diagrams of runs.",
    "report": "Write a review of a sequence file as one page: what was checked, what failed, why, with everything behind it.",
    "sheets": "Make acceptance-test sheets and a cause-and-effect matrix, or read sheets that were filled in.",
    "simulate": "Step a machine at the terminal, or play a recorded run.",
    "schema": "Print the JSON Schema of sequence files, for completion in an editor.",
    "explain": "Explain the code of a diagnostic.",
}


class Commands(click.Group):
    """The commands, imported on demand."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names of all commands."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import and return a command."""
        if cmd_name not in COMMANDS:
            return None
        module = cmd_name.replace("-", "_")
        command = getattr(import_module(f"seqcheck.cli.{module}"), module)
        return command if isinstance(command, click.Command) else None

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is called; offer near names for an unknown one."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = get_close_matches(args[0], COMMANDS)
            offer = f" Did you mean {' or '.join(near)}?" if near else f" The commands are {', '.join(COMMANDS)}."
            ctx.fail(f"No such command {args[0]!r}.{offer}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="seqcheck")
def group() -> None:
    """Verify interlock sequences: search every reachable state of a machine for its hazards.

    A model is no substitute for a risk assessment by competent people, for lockout, or for validation on the real machine.
    """


def main() -> None:
    """Run the command line and exit. Whatever is not expected is an internal error, so that nothing looks like a verdict."""
    code = code_of(sys.argv[1:])
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # nothing is left to be interrupted
    gc.freeze()  # what is left is not worth looking through for garbage, which would take 20 ms
    sys.exit(code)


def code_of(arguments: list[str]) -> int:
    """Run the command line and return its exit code, whatever happens."""
    try:
        return run(arguments)
    except click.ClickException as refused:
        refused.show()
        return REFUSED
    except (KeyboardInterrupt, click.Abort):
        click.echo("seqcheck: interrupted before there was a verdict", err=True)
        return UNDECIDED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return INTERNAL_ERROR
    except Exception:  # noqa: BLE001 - the last door
        import traceback

        traceback.print_exc()
        click.echo("seqcheck: internal error: a fault of the program, not of your file; no verdict was reached", err=True)
        return INTERNAL_ERROR


def run(arguments: list[str]) -> int:
    """Run the command line and return its exit code. Errors are raised: click itself would end a broken pipe with 1."""
    if COMPLETION in os.environ:
        group.main(prog_name="seqcheck")
    try:
        with group.make_context("seqcheck", arguments) as context:
            group.invoke(context)
            sys.stdout.flush()
    except click.exceptions.Exit as ended:
        sys.stdout.flush()
        return ended.exit_code
    except SystemExit as ended:
        sys.stdout.flush()
        return ended.code if isinstance(ended.code, int) else 0
    return 0
