"""`seqcheck explain CODE`: what a diagnostic's code means."""

import click

from seqcheck.diagnostics.codes import Code


@click.command()
@click.argument("code")
def explain(code: str) -> None:
    """Explain the CODE of a diagnostic, for example E301."""
    known = {entry.value: entry for entry in Code}
    entry = known.get(code.upper())
    if entry is None:
        raise click.BadParameter(f"there is no code {code}; the codes are {', '.join(sorted(known))}", param_hint="CODE")
    click.echo(f"{entry.value}: {entry.explanation}")
