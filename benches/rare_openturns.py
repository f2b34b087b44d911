"""The share of benches/rare.toml by OpenTURNS: importance sampling from its own first-order design point.

The preload of the 13-dimension bay is written in numpy inside a PythonFunction, so that OpenTURNS asks for whole blocks at once. Prints one line
of JSON: the share, its standard error, evaluations of the model, and seconds without the start of Python and its imports.

Run: python benches/rare_openturns.py [RELATIVE_STANDARD_ERROR]
"""

import json
import sys
import time

import numpy as np
import openturns as ot
from numpy_bay import MEAN, SD, preload_and_fit

LIMIT = 97.5
BLOCK = 4096


def preload(x):
    """Preload of each row; a pack that cannot be assembled is not below the limit (one in 10¹⁰ here, and far from it)."""
    load, fits = preload_and_fit(np.asarray(x).T)
    return np.where(fits, load, 1e3)[:, None]


def main():
    until = float(sys.argv[1]) if len(sys.argv) > 1 else 0.01
    ot.RandomGenerator.SetSeed(1)
    start = time.perf_counter()
    law = ot.PythonFunction(13, 1, func=lambda x: preload(np.asarray(x)[None, :])[0].tolist(), func_sample=preload)
    inputs = ot.RandomVector(ot.JointDistribution([ot.Normal(m, s) for m, s in zip(MEAN, SD)]))
    event = ot.ThresholdEvent(ot.CompositeRandomVector(law, inputs), ot.Less(), LIMIT)
    search = ot.AbdoRackwitz()
    search.setStartingPoint(MEAN)
    first_order = ot.FORM(search, event)
    first_order.run()
    result = first_order.getResult()
    sampling = ot.PostAnalyticalImportanceSampling(result)
    sampling.setBlockSize(BLOCK)
    sampling.setMaximumOuterSampling(100_000)
    sampling.setMaximumCoefficientOfVariation(until)
    sampling.run()
    seconds = time.perf_counter() - start
    found = sampling.getResult()
    print(json.dumps({
        "share": found.getProbabilityEstimate(),
        "standard_error": found.getStandardDeviation(),
        "first_order": result.getEventProbability(),
        "evaluations": law.getEvaluationCallsNumber(),
        "seconds": seconds,
    }))


main()
