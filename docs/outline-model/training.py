"""The training loop of both networks: AdamW, warm-up and cosine by the clock, averaged weights, pictures read as they are rendered."""

import math
import os
import time

import torch
import torch.nn as nn

from networks import Average
from pictures import DEVICE, Store, settings

LARGE = DEVICE == "cuda"


def train(network, groups, batch, loss, figure, name):
    """Trains for the minutes asked for and writes OUT/`name`.pt. `groups` are AdamW's (parameters and rates), `batch` makes the network's
    input and the truth from the two stores, `figure` is printed for each evaluation folder every 90 s."""
    small_folders, large_folders, eval_folders, _, out, minutes = settings()
    small, large = Store(576, 576, 4500 if LARGE else 100), Store(900, 1200, 1200 if LARGE else 100)
    held = [Store(900, 1200, 40) for _ in eval_folders]
    for store, folder in zip(held, eval_folders):
        store.add(folder)
    average = Average(network)
    optimiser = torch.optim.AdamW(groups, weight_decay=1e-2)
    rates = [group["lr"] for group in optimiser.param_groups]
    start, step, looked, shown = time.time(), 0, 0.0, 0.0

    def show():
        print(step, small.n, large.n, [figure(average.network, store) for store in held], flush=True)
        average.save(os.path.join(out, name + ".pt"))

    while (spent := (time.time() - start) / (minutes * 60)) < 1:
        if time.time() - looked > 20:
            for store, folders in ((small, small_folders), (large, large_folders)):
                for folder in folders:
                    store.add(folder)
            looked = time.time()
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, (step + 1) / 300) * (0.5 * (1 + math.cos(math.pi * spent)) + 0.01)
        x, *truth = batch(small, large)
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=DEVICE == "cuda"):
            answer = network(x)
        value = loss(answer, *truth)
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        average.step(network)
        step += 1
        if time.time() - shown > 90:
            show()
            shown = time.time()
    show()
