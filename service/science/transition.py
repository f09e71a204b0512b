"""How alkalinity (or calcium, magnesium) and its consumption move between two readings, exactly.

State x = [A, d]: concentration A and consumption d, with

    dA = (u - d - k (A - A_in)) dt + s_a dW1,    dd = s_d dW2,

k the exchanged volume per day over the water volume, summed over every exchange, and k A_in the same sum
weighted with what flows in. Over dt this is x <- F x + b + w, w ~ N(0, Q), with F = [[e, -g], [0, 1]],
b = [(u + k A_in) g, 0]. The functions give e, g and the entries of Q for arrays of any shape.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

SERIES_BELOW = 1e-2
"""z = k dt below which the entries of Q are summed as series: the closed forms lose (1/z)^2 of their digits."""


class Transition(NamedTuple):
    """One exact step: decay e (dimensionless), response g (days) and the four entries that make Q.

    Q = s_d^2 [[demand_11, demand_12], [demand_12, dt]] + s_a^2 [[level_11, 0], [0, 0]].
    """

    decay: Values
    response_days: Values
    demand_11_days3: Values
    demand_12_days2: Values
    level_11_days: Values
    dt_days: Values


def decay(*, exchange_per_day: Values, dt_days: Values) -> Values:
    r"""Share of a displacement of A that is left after dt, 0 to 1.

    .. math:: e = \exp(-k \, dt)

    Valid for k >= 0, dt >= 0. Source: DERIVED, VANLOAN78.
    Check value: 0.606530659712633 at exchange_per_day=0.05, dt_days=10 (+-1e-14).
    """
    return np.asarray(np.exp(-_argument(exchange_per_day, dt_days)))


def response_days(*, exchange_per_day: Values, dt_days: Values) -> Values:
    r"""Change of A after dt under one unit a day of constant supply, days.

    .. math:: g = (1 - \exp(-k \, dt)) / k, \qquad g = dt \text{ at } k = 0

    Valid for k >= 0, dt >= 0. Source: DERIVED, VANLOAN78.
    Check value: 7.869386805747332 at exchange_per_day=0.05, dt_days=10 (+-1e-13).
    """
    z = _argument(exchange_per_day, dt_days)
    return np.asarray(dt_days * _relative_response(z))


def level_variance_days(*, exchange_per_day: Values, dt_days: Values) -> Values:
    r"""Variance of A after dt per unit s_a squared, days.

    .. math:: I_2 = (1 - \exp(-2 k \, dt)) / (2 k), \qquad I_2 = dt \text{ at } k = 0

    Valid for k >= 0, dt >= 0. Source: DERIVED, VANLOAN78.
    Check value: 6.321205588285577 at exchange_per_day=0.05, dt_days=10 (+-1e-13).
    """
    z = _argument(exchange_per_day, dt_days)
    return np.asarray(dt_days * _relative_response(2.0 * z))


def demand_variance_days3(*, exchange_per_day: Values, dt_days: Values) -> Values:
    r"""Variance of A after dt per unit s_d squared, days cubed.

    .. math:: (dt - 2 g + I_2) / k^2, \qquad
        \tfrac{1}{3} dt^3 (1 - \tfrac{3}{4} z + \tfrac{7}{20} z^2 - \tfrac{1}{8} z^3 + \tfrac{31}{840} z^4)
        \text{ for } z = k \, dt < 10^{-2}

    Valid for k >= 0, dt >= 0, to 1e-10 relative. Source: DERIVED, VANLOAN78.
    Check value: 232.972790716366 at exchange_per_day=0.05, dt_days=10 (+-1e-9).
    """
    z = _argument(exchange_per_day, dt_days)
    series = (1.0 + z * (-3.0 / 4.0 + z * (7.0 / 20.0 + z * (-1.0 / 8.0 + z * 31.0 / 840.0)))) / 3.0
    large = np.where(z < SERIES_BELOW, 1.0, z)
    closed = (1.0 - 2.0 * _relative_response(large) + _relative_response(2.0 * large)) / large**2
    return np.asarray(dt_days**3 * np.where(z < SERIES_BELOW, series, closed))


def demand_covariance_days2(*, exchange_per_day: Values, dt_days: Values) -> Values:
    r"""Covariance of A and d after dt per unit s_d squared, days squared; never positive.

    .. math:: -(dt - g) / k, \qquad
        -\tfrac{1}{2} dt^2 (1 - \tfrac{1}{3} z + \tfrac{1}{12} z^2 - \tfrac{1}{60} z^3 + \tfrac{1}{360} z^4)
        \text{ for } z = k \, dt < 10^{-2}

    Valid for k >= 0, dt >= 0, to 1e-10 relative. Source: DERIVED, VANLOAN78.
    Check value: -42.61226388505335 at exchange_per_day=0.05, dt_days=10 (+-1e-11).
    """
    z = _argument(exchange_per_day, dt_days)
    series = (1.0 + z * (-1.0 / 3.0 + z * (1.0 / 12.0 + z * (-1.0 / 60.0 + z / 360.0)))) / 2.0
    large = np.where(z < SERIES_BELOW, 1.0, z)
    closed = (1.0 - _relative_response(large)) / large
    return np.asarray(-(dt_days**2) * np.where(z < SERIES_BELOW, series, closed))


def transition(*, exchange_per_day: Values, dt_days: Values) -> Transition:
    """Everything one exact step of the state [A, d] needs; the arguments broadcast.

    Check value: none, a tuple of the functions above, each with its own.
    Source: DERIVED, VANLOAN78.
    """
    exchange_per_day, dt_days = np.broadcast_arrays(
        np.asarray(exchange_per_day, dtype=np.float64), np.asarray(dt_days, dtype=np.float64)
    )
    return Transition(
        decay=decay(exchange_per_day=exchange_per_day, dt_days=dt_days),
        response_days=response_days(exchange_per_day=exchange_per_day, dt_days=dt_days),
        demand_11_days3=demand_variance_days3(exchange_per_day=exchange_per_day, dt_days=dt_days),
        demand_12_days2=demand_covariance_days2(exchange_per_day=exchange_per_day, dt_days=dt_days),
        level_11_days=level_variance_days(exchange_per_day=exchange_per_day, dt_days=dt_days),
        dt_days=dt_days,
    )


def _argument(exchange_per_day: Values, dt_days: Values) -> Values:
    z = np.asarray(exchange_per_day * dt_days, dtype=np.float64)
    if np.any(~(z >= 0.0)):
        raise ValueError("exchange_per_day and dt_days must be finite and not negative")
    return z


def _relative_response(z: Values) -> Values:
    """(1 - exp(-z)) / z, 1 at z = 0."""
    safe = np.where(z == 0.0, 1.0, z)
    return np.where(z == 0.0, 1.0, -np.expm1(-safe) / safe)
