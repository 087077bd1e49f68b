"""`review`: what practice adds up to."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click
from rich.console import Console

from trainer.commands.log_option import log_option, open_log, player_option, whose
from trainer.commands.printing import print_json


@click.command()
@click.option("--last", default=10, show_default=True, metavar="N", help="How many takes.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, takes whole.")
@click.option(
    "--html", type=click.Path(path_type=Path, dir_okay=False), help="Write a page to send or print."
)
@click.option("--class", "whole_class", is_flag=True, help="Everybody in the log, as a class.")
@click.option(
    "--csv", type=click.Path(path_type=Path, dir_okay=False), help="With --class: a table."
)
@click.option(
    "--assignment",
    "assigned",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="FILE",
    help="With --class: how far everybody is with it.",
)
@click.option(
    "--until",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DAY",
    help="With --class: the last day of the four weeks looked at (else today).",
)
@player_option
@log_option
def command(
    last: int,
    as_json: bool,
    html: Path | None,
    whole_class: bool,
    csv: Path | None,
    assigned: tuple[Path, ...],
    until: datetime | None,
    player: str | None,
    location: str | None,
) -> None:
    """Show the last takes and what they add up to: minutes, pieces, figurings, faults."""
    from trainer.review import plain_records
    from trainer.review.advice import next_work
    from trainer.review.queries import totals
    from trainer.review.tables import print_review

    if whole_class:
        from trainer.commands.class_page import show_class

        last_day = date.today() if until is None else until.date()
        show_class(location, html, csv, assigned, last_day, as_json)
        return
    if csv is not None or assigned or until is not None:
        raise click.UsageError("--csv, --assignment and --until go with --class")
    if last < 1:
        raise click.BadParameter("at least 1", param_hint="--last")
    with open_log(location) as journal:
        who = whose(journal, player)
        if html is not None:
            from trainer.review.html import write_page
            from trainer.review.review_page import review_page

            write_page(html, review_page(journal, who, last, datetime.now().astimezone()))
            if not as_json:
                print(html)
                return
        if not as_json:
            print_review(Console(), journal, who, last, date.today())
            return
        id = None if who is None else who.id
        print_json(
            {
                "format": "mittelstimme-review",
                "version": 1,
                "player": None if who is None else {"id": who.id, "name": who.name},
                "totals": plain_records.totals_plain(totals(journal, id)),
                "next": [
                    plain_records.advice_plain(one) for one in next_work(journal, id, date.today())
                ],
                "takes": [
                    plain_records.take_plain(journal, one) for one in journal.takes(id, last)
                ],
            }
        )
