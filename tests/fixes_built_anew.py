"""Every set of fixes on a network built anew: the answers without the comparison, by brute force."""

import itertools

import ductsim as ds

SOME = (
    "seal hatch 4",
    "seal cuff 5",
    "seal joint 4",
    "clean right screen",
    "shorten hose 5",
    "driven pulley 230 mm",
    "engine 100 rpm faster",
)
"""Fixes of the picker's file, few enough for brute force."""


def built_anew(machine, fixes):
    """The lowest vacuum [Pa] of a picker with some fixes done, and whether its makers allow it.

    Nothing of the comparison is used, nor of `Machine.change`: the numbers are set here, the fans' speed
    is worked out here, and the parts are put together in a Network of their own.
    """
    made, numbers = machine.layout, dict(machine.numbers)
    for fix in fixes:
        for pattern, value in fix.change.items():
            start, _, end = pattern.partition("*")
            hit = [
                a
                for a in numbers
                if (a == pattern if "*" not in pattern else a.startswith(start) and a.endswith(end))
            ]
            for address in hit:
                measure = made.declared[address].measure
                numbers[address] = ds.si(value, measure)
        for name, table in fix.replace.items():
            values = {key: v for key, v in table.items() if key != "kind"}
            numbers |= {f"{name}.{number_key}": v for number_key, v in ds.Hose(**values).numbers().items()}
    belt = {
        key: numbers[f"belt.{key}"] for key in ("engine_speed", "driving_pulley", "driven_pulley", "slip")
    }
    speed = belt["engine_speed"] * belt["driving_pulley"] / belt["driven_pulley"] * (1 - belt["slip"])
    air = ds.Air.at(
        altitude=numbers["air.altitude"],
        temperature=numbers["air.temperature"],
        relative_humidity=numbers["air.relative_humidity"],
    )
    net = ds.Network(air)
    for part in made.parts:
        values = [
            speed if (part.drive and number_key == "speed") else numbers[f"{part.name}.{number_key}"]
            for number_key in part.schema.number_keys
        ]
        net.add(part.name, part.schema.build(values), *part.ends)
    state = net.solve()
    vacuum = []
    for i in "12345":
        pressure, warm = state.pressure[f"door {i}"], state.temperature[f"door {i}"]
        density = air.density * air.temperature / warm * (1 + pressure / air.pressure)
        velocity = state.flow[f"jet {i}", "suction"] / (density * numbers[f"door {i}.area"])
        vacuum.append(0.5 * density * velocity**2 - pressure)
    power = sum(state.power[name] for name in ("left fan", "right fan"))
    allowed = power <= numbers["belt.available_power"] and speed <= numbers["left fan.highest_speed"]
    return min(vacuum), allowed


def brute_force(machine, fixes, budgets):
    """Budget -> the best three sets of names, each set of fixes solved by itself."""
    out = {budget: [] for budget in budgets}
    for size in range(len(fixes) + 1):
        for some in itertools.combinations(fixes, size):
            minutes = sum(fix.minutes for fix in some)
            pulleys = sum("pulley" in fix.name for fix in some)
            if pulleys > 1 or minutes > max(budgets):
                continue
            answer, allowed = built_anew(machine, some)
            for budget in budgets:
                if allowed and minutes <= budget:
                    out[budget].append((answer, [fix.name for fix in some]))
    return {budget: [names for _, names in sorted(found, reverse=True)[:3]] for budget, found in out.items()}
