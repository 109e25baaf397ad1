"""XML files against the published schemas, through lxml.

The schemas belong to their publishers and are no part of lookkit: give their folder.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from lookkit.errors import InputError
from lookkit.handoff.verify.report import Row


def schema_row(name: str, path: Path, schemas: Path | None, schema: str) -> Row:
    """Say whether a file is valid.

    Parameters
    ----------
    schemas
        The folder of the schemas; None if it was not given.
    schema
        The schema's file name in it.

    Raises
    ------
    InputError
        If the schema is there and cannot be used.
    """
    try:
        import lxml.etree as etree
    except ImportError:
        return Row(name, "lxml", "absent", "not tried, lxml is not installed: lookkit[verify]")
    if schemas is None or not (schemas / schema).is_file():
        where = "give its folder with --schemas" if schemas is None else f"no {schema} in {schemas}"
        return Row(name, "schema", "absent", f"schema not here: {where}")
    version = ".".join(map(str, etree.LXML_VERSION[:3]))
    validator = _schema(schemas / schema)
    try:
        document = etree.parse(str(path), _parser())
    except etree.XMLSyntaxError as error:
        return Row(name, f"lxml {version}", "refuses", str(error))
    if validator.validate(document):
        return Row(name, f"lxml {version}", "agrees", f"valid by {schema}")
    first = validator.error_log[0]
    return Row(name, f"lxml {version}", "refuses", f"line {first.line}: {first.message}")


def _parser() -> Any:
    import lxml.etree as etree

    return etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)


@cache
def _schema(path: Path) -> Any:
    import lxml.etree as etree

    try:
        return etree.XMLSchema(etree.parse(str(path), etree.XMLParser(no_network=True)))
    except (etree.XMLSchemaParseError, etree.XMLSyntaxError) as error:
        raise InputError(f"{path}: no schema that can be used ({error})") from error
