"""``hang-monitor ports``: the serial ports of this machine."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict

import typer

from monitor.cli.terminal.error_reporting import reports_errors


@reports_errors
def ports(as_json: bool = typer.Option(False, "--json", help="One JSON list instead of a table.")) -> None:
    """List the serial ports: one of them is the board's, for hang-monitor run --port."""
    from firmware_bridge.link import list_ports

    listed = list_ports()
    if as_json:
        sys.stdout.write(json.dumps([asdict(port) for port in listed]) + "\n")
        return
    if not listed:
        sys.stdout.write(
            "No serial port was found. Plug the converter board in with a data cable (some cables only charge), "
            "then look again.\n"
        )
        return
    from rich.console import Console
    from rich.table import Table

    table = Table("port", "device", "serial number", "vendor:product")
    for port in listed:
        table.add_row(port.path, port.description, port.serial_number, port.vendor_product)
    Console().print(table)
