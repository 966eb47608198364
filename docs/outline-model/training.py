"""The training loop of both networks: AdamW, warm-up and cosine by the clock, averaged weights, pictures read as they are rendered."""

import math
import os
import time

import torch
import torch.nn as nn

from networks import Average
from pictures import DEVICE, Store, settings

LARGE = DEVICE == "cuda"


def opened():
    """The stores of small and large pictures and those to evaluate on, with what is there by now."""
    wanted = settings()
    small, large = Store(576, 576, 3000 if LARGE else 100), Store(900, 1200, 500 if LARGE else 100)
    held = [Store(900, 1200, 40) for _ in wanted.evaluation]
    refresh(small, large)
    for store, folder in zip(held, wanted.evaluation):
        store.add(folder)
    return small, large, held


def refresh(small, large):
    for store, folders in ((small, settings().small), (large, settings().large)):
        for folder in folders:
            store.add(folder)


def train(network, groups, batch, loss, figure, name, stores):
    """Trains for the minutes asked for and writes OUT/`name`.pt. `groups` are AdamW's (parameters and rates), `batch` makes the network's
    input and the truth from the two stores, `figure` is printed for each evaluation folder every 90 s."""
    small, large, held = stores
    out, minutes = settings().out, settings().minutes
    average = Average(network)
    optimiser = torch.optim.AdamW(groups, weight_decay=1e-2)
    rates = [group["lr"] for group in optimiser.param_groups]
    start, step, looked, shown = time.time(), 0, time.time(), time.time()

    def show():
        print(name, step, small.n, large.n, [figure(average.network, store) for store in held], flush=True)
        average.save(os.path.join(out, name + ".pt"))

    while (spent := (time.time() - start) / (minutes * 60)) < 1:
        if time.time() - looked > 20:
            refresh(small, large)
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
