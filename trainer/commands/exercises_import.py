"""`exercises import`: scores of other programs, one or a folder of hundreds, into the library."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from trainer.commands.printing import print_json
from trainer.commands.shelves import ProgressBar
from trainer.errors import ExerciseError, TrainerError
from trainer.folders import data_folder


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--into",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the exercises; else the library's own.",
)
@click.option(
    "--melody", metavar="LINE", help="A staff's name or number (1, or 1.2 for a layer); none."
)
@click.option("--bass", metavar="LINE", help="A staff's name or number.")
@click.option(
    "--repeats",
    type=click.Choice(["out", "once"]),
    default="out",
    show_default=True,
    help="Write repeated bars out, or take them once.",
)
@click.option("--strip-passing", is_flag=True, help="Leave passing notes out of bass and melody.")
@click.option("--overwrite", is_flag=True, help="Replace exercises that have the same id.")
@click.option("--json", "as_json", is_flag=True, help="One object instead of lines.")
@click.pass_context
def command(
    ctx: click.Context,
    files: tuple[Path, ...],
    into: Path | None,
    melody: str | None,
    bass: str | None,
    repeats: str,
    strip_passing: bool,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Import FILES (MusicXML, .mxl, MEI, Humdrum) and all such files in folders among them.

    Says of each file what was taken and what was not. A file that cannot be read stops nothing;
    exit status 1 then.
    """
    from trainer.score.interchange import Reader, Wishes, import_file, score_files
    from trainer.score.interchange.exporting import write_whole
    from trainer.score.kern import write_exercise

    wishes = Wishes(bass, melody, repeats == "out", strip_passing)
    folder = into or data_folder() / "exercises"
    sources = score_files(files)
    if not sources:
        raise ExerciseError(f"there is no score file in {', '.join(map(str, files))}")
    results: list[dict[str, object]] = []
    failed = 0
    with ProgressBar("importing") as bar, Reader() as reader:
        for number, source in enumerate(sources, 1):
            try:
                done = import_file(source, reader, wishes)
                target = folder / f"{done.exercise.id}.krn"
                if target.exists() and not overwrite:
                    raise ExerciseError(
                        f"there is an exercise {target} already",
                        file=source,
                        remedy="use --overwrite, or --into another folder",
                    )
                text = write_exercise(replace(done.exercise, source=str(source)))
                write_whole(target, text.encode())
            except TrainerError as error:
                failed += 1
                results.append({"file": str(source), "error": str(error.at(file=source))})
            else:
                results.append(
                    {
                        "file": str(source),
                        "exercise": done.exercise.id,
                        "path": str(target),
                        "taken": list(done.report.taken),
                        "left": list(done.report.left),
                    }
                )
            bar(number, len(sources))
    if as_json:
        print_json(
            {
                "format": "mittelstimme-import",
                "version": 1,
                "imported": len(sources) - failed,
                "results": results,
            }
        )
    else:
        _print(results, len(sources) - failed)
    if failed:
        ctx.exit(2 if len(sources) == 1 else 1)


def _print(results: list[dict[str, object]], imported: int) -> None:
    for result in results:
        if "error" in result:
            click.echo(f"mittelstimme: {result['error']}", err=True)
            continue
        taken, left = result["taken"], result["left"]
        assert isinstance(taken, list) and isinstance(left, list)
        click.echo(f"{result['file']} -> {result['path']}")
        click.echo(f"  {'; '.join(taken)}")
        for remark in left:
            click.echo(f"  not as written: {remark}")
    if len(results) > 1:
        click.echo(f"{imported} of {len(results)} files imported")
