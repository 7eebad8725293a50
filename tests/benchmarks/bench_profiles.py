"""How well a profile reads patinas that were not on its chart, beside the best 3×3 that the sensor allows.

Run: ``python -m tests.benchmarks.bench_profiles``. Sensors, lights and chart spectra: published tables in
colour-science; 300 patina-like spectra, invented, half films as the demo's process makes them and half curves whose
edge and hump stand against each other, which no three channels tell apart well. Exact card; without noise (an 8-bit
picture is then rounded alike everywhere) and with a sensor's usual noise.
"""

from __future__ import annotations

import numpy as np

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.detect import find_card
from matcher.colour.cielab import lab_jacobian
from matcher.colour.difference import delta_e_2000
from matcher.reading.finish import read_finish
from tests.rendering.process import xyz_weights
from tests.rendering.sensor import sensor_weights
from tests.simulation import CARD, PLATE, Shop, chart_photo, patinas, plate_photo, truth

BARS = {
    "D50": (0.5, 0.9),
    "D65": (0.5, 0.9),
    "A": (0.9, 1.6),
    "FL2": (0.9, 1.6),
    "LED-B3": (0.9, 1.6),
    "FL11": (1.2, 2.3),
}

SENSOR_NOISE = 0.004


def best_matrix(camera: str, light: str, spectra: np.ndarray) -> np.ndarray:
    """Return ΔE00 (n,) of the 3×3 fitted on the finishes themselves, in CIELAB."""
    weights = sensor_weights(camera, light)
    seen, wanted = spectra @ (weights / weights.sum(axis=0)), spectra @ xyz_weights()
    slopes = [lab_jacobian(xyz) for xyz in wanted]
    design = np.concatenate([np.kron(slope, row) for slope, row in zip(slopes, seen, strict=True)])
    values = np.concatenate([slope @ xyz for slope, xyz in zip(slopes, wanted, strict=True)])
    matrix = np.linalg.lstsq(design, values, rcond=None)[0].reshape(3, 3)
    from matcher.colour.cielab import xyz_to_lab

    return delta_e_2000(xyz_to_lab(seen @ matrix.T), truth(spectra))


def profile_errors(shop: Shop, spectra: np.ndarray, rng: np.random.Generator, noise: float) -> np.ndarray:
    """Return ΔE00 (n,) of finishes read with a profile from a chart in the same shop."""
    photo, chart = chart_photo(shop, rng, noise=noise)
    profile = profile_from_chart(photo, chart, shop.light)
    errors = []
    for spectrum, lab in zip(spectra, truth(spectra), strict=True):
        plate = plate_photo(shop, spectrum, rng, noise=noise)
        card = find_card(plate, corners=CARD, lab=[49.496, 0, 0])
        errors.append(
            delta_e_2000(read_finish(plate, calibrate(plate, card, profile, light="profile"), PLATE).lab, lab)
        )
    return np.array(errors, dtype=float)


def main() -> None:
    spectra = patinas(300, np.random.default_rng(7))
    heads = ("JPEG", "JPEG, noise", "films", "curves", "linear", "best 3x3", "bar")
    print(f"{'camera light':14s}", *(f"{head:>12s}" for head in heads))
    for camera in "AB":
        for light, bar in BARS.items():
            bare = profile_errors(Shop(camera, light), spectra, np.random.default_rng(8), 0.0)
            noisy = profile_errors(Shop(camera, light), spectra, np.random.default_rng(8), SENSOR_NOISE)
            linear = profile_errors(Shop(camera, light, linear=True), spectra, np.random.default_rng(8), 0.0)
            best = best_matrix(camera, light, spectra)
            figures = (bare, noisy, bare[::2], bare[1::2], linear, best)
            cells = [f"{errors.mean():.2f} / {np.quantile(errors, 0.95):.2f}" for errors in figures]
            cells.append(f"{bar[0]:.2f} / {bar[1]:.2f}" if camera == "A" else "")
            print(f"{camera} {light:12s}", *(f"{cell:>12s}" for cell in cells))


if __name__ == "__main__":
    main()
