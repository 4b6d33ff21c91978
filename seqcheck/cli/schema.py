"""`seqcheck schema`: the JSON Schema of sequence files."""

import json

import click

from seqcheck.syntax.schema import schema as make_schema


@click.command()
def schema() -> None:
    """Print the JSON Schema (2020-12) of sequence files."""
    click.echo(json.dumps(make_schema(), indent=1))
