"""The command line: argument handling only.

Each command imports the floor it needs inside its own body, so that none waits for another's libraries.
"""

import click


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="piezolab", message="piezolab %(version)s")
def main() -> None:
    """What pickup, transistor, cable and input do to the sound of your instrument."""


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Network address to listen on.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8350,
    show_default=True,
    help="Port to listen on; 0 lets the system choose.",
)
@click.option("--browser/--no-browser", "open_browser", default=True, help="Open a browser once ready.")
@click.option("--base-url", default="/", show_default=True, help="Path before every page, e.g. /workshop/.")
def serve(host: str, port: int, open_browser: bool, base_url: str) -> None:
    """Serve the chapters to a browser."""
    from piezolab.serving import ServingError
    from piezolab.serving import serve as run

    try:
        run(host=host, port=port, open_browser=open_browser, base_url=base_url)
    except ServingError as error:
        raise click.ClickException(str(error)) from error
