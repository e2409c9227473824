"""Altitude: thinner air boils the same spirit cooler, so a stop by thermometer has to move."""

from pathlib import Path

from matplotlib import pyplot as plt

import potsim

PICTURES = Path(__file__).with_name("pictures")
DASHES = ("-", "--", ":")

made = potsim.sweep(potsim.example_plan(), "still.altitude", [0, 1500, 3000])

figure, ax = plt.subplots(figsize=(5.8, 3.6), layout="constrained")
for row, dash in zip(made.rows, DASHES, strict=True):
    run = row.run
    ax.plot(1000 * run.collected_l, run.vapour_c, dash, label=f"{row.value:.0f} m")
    print(
        f"{row.value:4.0f} m: first drop {run.stream_abv[0]:.1f} % vol at {run.vapour_c[0]:.1f} °C; "
        f"{run.stop.stream_abv:.0f} % vol at {run.stop.vapour_c:.1f} °C, {run.stop.collected_l:.3f} L"
    )
ax.set(xlim=(0, 1100), xlabel="distillate collected, mL at 20 °C", ylabel="vapour, °C")
ax.set_title("each line ends where the stream has fallen to 55 % vol", loc="left", fontsize=9)
ax.legend(frameon=False)
figure.savefig(PICTURES / "altitude.png", dpi=110)
