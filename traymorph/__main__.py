"""``python -m traymorph``."""

from traymorph.cli.main import main

if __name__ == "__main__":
    main()
