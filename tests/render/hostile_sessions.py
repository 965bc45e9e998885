"""Session folders of hostile content, each with a session.toml and measurement files, for the drawing tests."""

import numpy as np

LATIN = "The Norrvale Instrument Company of Upper Norrvale Forty Mark"
CYRILLIC = "Норрвальский приборостроительный завод имени Форти, мод. сорок"[:60]
GREEK = "Εταιρεία Ηχητικών Οργάνων Νορβάλης Σαράντα Ενισχυτής Τύπου Α"[:60]
NAMES = {"latin": LATIN, "cyrillic": CYRILLIC, "greek": GREEK, "one word": "Norrvale" * 7 + "Fort"}
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
BENCH = '[bench]\nload = "8 ohm"\nchannels = "both"\ninput = "aux"\n'
RATED = '[[rated]]\nquantity = "power"\nat_least = "40 W"\nload = "8 ohm"\nthd = "0.05 %"\nband = ["20 Hz", "20 kHz"]\n'
AUDIO_HZ = np.geomspace(20, 20_000, 40)


def table(header, *columns):
    rows = zip(*columns, strict=True)
    return "\n".join([header, *(",".join(f"{value:.9g}" for value in row) for row in rows)]) + "\n"


def response(boost=0.1):
    shelf = boost / (1 + (AUDIO_HZ / 200) ** 2)
    return table("Frequency (Hz),L (dB),R (dB)", AUDIO_HZ, shelf, shelf - 0.02)


def sweep(most=55.0):
    watts = np.geomspace(most / 100, most, 40)
    percent = 0.02 + 2 * (watts / most) ** 9
    return table("Power (W),THD+N L (%),THD+N R (%)", watts, percent, 1.1 * percent)


def distortion(ppm=200.0):
    values = ppm * (1 + AUDIO_HZ / 20_000)
    return table("Frequency (Hz),THD L (ppm),THD R (ppm)", AUDIO_HZ, values, 1.1 * values)


def tone():
    seconds = np.arange(4800) / 48_000
    volts = 9 * (np.sin(2000 * np.pi * seconds) + 3e-4 * np.sin(6000 * np.pi * seconds))
    return table("Time (ms),L (V),R (V)", 1000 * seconds, volts, 0.99 * volts)


def measurement(name, kind, file, **more):
    told = "".join(f'{key} = "{value}"\n' for key, value in more.items())
    return f'[[measurement]]\nid = "{name}"\nkind = "{kind}"\nfile = "measurements/{file}"\n{told}'


def several(kind, file, count, **more):
    return "".join(
        measurement(f"m{n}", kind, file.format(n), setting=f"bass +{n}", card="all", **more) for n in range(count)
    )


def _sessions():
    for script, name in NAMES.items():
        unit = f'[unit]\nmaker = "{name}"\nmodel = "Forty"\nwhat = "{name}"\nyear = 1977\n'
        told = {"setting": name, "title": name, "drive": "5 W"}
        yield (
            f"{script} names",
            unit + BENCH + RATED + measurement("r", "response", "a.csv", **told),
            {"a.csv": response()},
        )
    yield "a long id", UNIT + BENCH + measurement("r" * 60, "response", "a.csv"), {"a.csv": response()}
    twelve = {f"a{n}.csv": response(n) for n in range(12)}
    yield "twelve responses", UNIT + BENCH + several("response", "a{}.csv", 12), twelve
    yield (
        "twelve settings of tone controls",
        UNIT + BENCH + measurement("flat", "response", "a0.csv") + several("contour", "a{}.csv", 12, against="flat"),
        twelve,
    )
    yield "twelve sweeps", UNIT + BENCH + several("distortion-power", "a.csv", 12), {"a.csv": sweep()}
    yield "six tones", UNIT + BENCH + several("tone", "a.csv", 6), {"a.csv": tone()}
    for shown, value in (("0.00001", 1e-5), ("100000", 1e5)):
        volts = np.full(40, value)
        yield (
            f"values of {shown}",
            UNIT
            + BENCH
            + measurement("d", "distortion-frequency", "d.csv")
            + measurement("p", "distortion-power", "p.csv")
            + measurement("r", "response", "r.csv"),
            {
                "d.csv": distortion(value),
                "p.csv": sweep(value),
                "r.csv": table("Frequency (Hz),L (V),R (V)", AUDIO_HZ, volts, 1.1 * volts),
            },
        )
    leaps = np.where(np.arange(40) % 2, 1e-5, 1e5)
    yield (
        "a response that leaps",
        UNIT + BENCH + measurement("r", "response", "a.csv"),
        {"a.csv": table("Frequency (Hz),L (V),R (V)", AUDIO_HZ, leaps, leaps[::-1])},
    )
    yield (
        "one channel",
        UNIT + BENCH + measurement("r", "response", "a.csv"),
        {"a.csv": table("Frequency (Hz),R (dB)", AUDIO_HZ, AUDIO_HZ * 0)},
    )


# name -> (session.toml, path -> text)
SESSIONS = {
    name: (toml, {f"measurements/{file}": text for file, text in files.items()}) for name, toml, files in _sessions()
}
