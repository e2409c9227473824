"""One's own botanicals and compounds: read from CSV into a plan, followed like those of the library."""

import csv
from pathlib import Path

from matplotlib import pyplot as plt

import potsim

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a CSV beside this script; lines with # are remarks."""
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


botanicals: dict[str, dict] = {}
for row in rows("own_botanicals.csv"):
    told = {key: row[key] for key in ("name", "category", "oil_yield", "fresh_water")}
    one = botanicals.setdefault(row["name"], {**told, "composition": {}})
    one["composition"][row["compound"]] = row["share"]
compounds = [
    {**row, "groups": {g: int(n) for g, n in (pair.split("x") for pair in row["groups"].split())}}
    for row in rows("own_compounds.csv")
]

plan = potsim.Plan.from_dict(
    {
        "charge": [{"name": "spirit", "volume": "2.4 L", "abv": "38 %"}],
        "botanical": [{"name": "juniper", "mass": "14 g"}, {"name": "spruce tips", "mass": "20 g"}],
        "own_botanical": list(botanicals.values()),
        "own_compound": compounds,
    }
)
run = potsim.distil(plan)
for one in run.flavours:
    print(f"{one.botanical:12s} {one.klass:6s} {one.gives_up.value:4.0%} over, {one.noticed} in the bottle")

table = run.flavours_frame()
print(f"{len(table)} rows: botanical, compound, jar; a threshold is known of some")
figure, ax = plt.subplots(figsize=(5.8, 3.4), layout="constrained")
for (name, some), dash in zip(
    table[table.botanical == "spruce tips"].groupby("compound"), ("-", "--", ":"), strict=True
):
    ax.plot(some.volume_l, some.mg_per_l, dash, label=name)
ax.set(yscale="log", xlabel="distillate collected, L at 20 °C", ylabel="in the jar, mg/L")
ax.legend(title="spruce tips", frameon=False)
figure.savefig(HERE / "pictures" / "own_botanicals.png", dpi=110)
