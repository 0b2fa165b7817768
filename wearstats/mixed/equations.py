"""Mixed-model equations: coefficients, effects and predictions at given variances.

Henderson (1975) Biometrics 31:423-447, doi:10.2307/2529430 (equations and joint covariance).
"""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Component:
    """Independent random effects, one for each label, times a column.

    Parameters
    ----------
    name : str
    labels : tuple of hashable, length n
        Which effect a row takes.
    column : ndarray, shape (n,)
        What the effect is multiplied by (1 for an intercept).
    """

    name: str
    labels: tuple[Hashable, ...]
    column: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MixedFit:
    """A fitted linear mixed model, as numbers.

    Parameters
    ----------
    names : tuple of str
        Fixed effects.
    coefficients : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
    joint_names : tuple of str
        Components that vary together, and `joint_covariance` of shape (k, k) between them.
    variances : mapping of str to float
        Every component's variance.
    residual_variance : float
    residual_squares : float
        Sum of squared residuals about the predictions.
    log_likelihood : float
        Restricted (REML) or full (ML), all constants included.
    rows : int
    counts : mapping of str to int
        Labels in each component.
    keys : tuple of (str, hashable)
        Component and label of each random effect, in the order of `effects`.
    effects : ndarray, shape (q,)
        Predicted random effects.
    prediction_covariance : ndarray, shape (p + q, p + q)
        Of (estimated fixed - true fixed, predicted random - true random).
    """

    names: tuple[str, ...]
    coefficients: FloatArray
    covariance: FloatArray
    joint_names: tuple[str, ...]
    joint_covariance: FloatArray
    variances: Mapping[str, float]
    residual_variance: float
    residual_squares: float
    log_likelihood: float
    rows: int
    counts: Mapping[str, int]
    keys: tuple[tuple[str, Hashable], ...]
    effects: FloatArray
    prediction_covariance: FloatArray

    def standard_error(self, contrast: FloatArray) -> float:
        """Return the standard error of a combination of fixed effects."""
        return math.sqrt(float(contrast @ self.covariance @ contrast))

    def predicted(
        self,
        fixed: FloatArray,
        effects: Mapping[str, tuple[Sequence[Hashable], FloatArray]],
    ) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of `fixed @ beta + random effects` for new rows, without residual.

        A label the fit has not seen gets mean 0 and its component's whole variance.

        Parameters
        ----------
        fixed : ndarray, shape (m, p)
        effects : mapping of component to (labels, column), each of length m

        Returns
        -------
        mean, variance : ndarray, shape (m,)
        """
        place = {key: index for index, key in enumerate(self.keys)}
        size, width = len(self.names), len(self.keys)
        design = np.zeros((len(fixed), size + width))
        design[:, :size] = fixed
        unseen: dict[str, FloatArray] = {}
        for name, (labels, column) in effects.items():
            if name not in self.counts:
                continue
            spots = np.array([place.get((name, label), -1) for label in labels], dtype=np.int64)
            known = np.flatnonzero(spots >= 0)
            design[known, size + spots[known]] = column[known]
            unseen[name] = np.where(spots < 0, column, 0.0)
        mean = design @ np.concatenate([self.coefficients, self.effects])
        variance = np.sum((design @ self.prediction_covariance) * design, axis=1)
        for name, column in unseen.items():
            if name not in self.joint_names:
                variance += self.variances[name] * column**2
        if self.joint_names:
            none = np.zeros(len(fixed))
            together = np.stack([unseen.get(name, none) for name in self.joint_names])
            variance += np.sum(together * (self.joint_covariance @ together), axis=0)
        return mean, variance


def label_codes(labels: Sequence[Hashable]) -> tuple[list[Hashable], IntArray]:
    """Return the labels in the order they are met, and their numbers."""
    order: dict[Hashable, int] = {}
    codes = [order.setdefault(label, len(order)) for label in labels]
    return list(order), np.array(codes, dtype=np.int64)


def design_of(component: Component) -> tuple[list[Hashable], FloatArray]:
    """Return a component's labels and its design, shape (n, labels)."""
    labels, codes = label_codes(component.labels)
    design = np.zeros((len(codes), len(labels)))
    design[np.arange(len(codes)), codes] = component.column
    return labels, design


def solve_equations(
    response: FloatArray,
    fixed: FloatArray,
    names: tuple[str, ...],
    components: Sequence[Component],
    *,
    joint_names: tuple[str, ...],
    joint_covariance: FloatArray,
    separate_variances: FloatArray,
    residual: float,
    log_likelihood: float | None = None,
    labels_and_designs: Sequence[tuple[list[Hashable], FloatArray]] | None = None,
) -> MixedFit:
    """Solve the mixed-model equations at given variances.

    Parameters
    ----------
    response, fixed, names, components
        As `fit_mixed`; the joint components first.
    joint_names : tuple of str
    joint_covariance : ndarray, shape (k, k)
    separate_variances : ndarray
        Of the other components, in order, all above 0.
    residual : float
        Residual variance.
    log_likelihood : float or None
        None for the restricted one, worked out here.
    labels_and_designs : sequence of (labels, design) or None
        What `design_of` gives for each component, where it is at hand.
    """
    if labels_and_designs is None:
        labels_and_designs = [design_of(component) for component in components]
    designs = [design for _, design in labels_and_designs]
    both = np.column_stack([fixed, *designs])
    size = fixed.shape[1]
    precision = np.zeros((both.shape[1], both.shape[1]))
    together = len(joint_names)
    counts = {c.name: len(x[0]) for c, x in zip(components, labels_and_designs, strict=True)}
    if together:
        # The labels of joint components are the groups, met in the same order in each.
        width = labels_and_designs[0][1].shape[1] * together
        block = np.kron(np.linalg.inv(joint_covariance), np.eye(width // together))
        precision[size : size + width, size : size + width] = block
        start = size + width
    else:
        start = size
    own = np.repeat(separate_variances, [d.shape[1] for d in designs[together:]])
    precision[np.arange(start, both.shape[1]), np.arange(start, both.shape[1])] = 1.0 / own
    equations = both.T @ both / residual + precision
    inverse: FloatArray = np.asarray(np.linalg.inv(equations), dtype=np.float64)
    solution = inverse @ (both.T @ response) / residual
    if log_likelihood is None:
        # log|V| + log|X'V^-1 X| = log|R| + log|D| + log|C| with C the equations' matrix.
        rows = len(response)
        effects = precision[size:, size:]
        logs = rows * math.log(residual) + float(np.linalg.slogdet(equations)[1])
        if len(effects):
            logs -= float(np.linalg.slogdet(effects)[1])
        squares = float(response @ (response - both @ solution)) / residual
        log_likelihood = -0.5 * ((rows - size) * math.log(2.0 * math.pi) + logs + squares)
    variances = (*np.diag(joint_covariance), *separate_variances)
    return MixedFit(
        names=names,
        coefficients=solution[:size],
        covariance=inverse[:size, :size],
        joint_names=joint_names,
        joint_covariance=joint_covariance,
        variances={c.name: float(v) for c, v in zip(components, variances, strict=True)},
        residual_variance=residual,
        residual_squares=float(np.sum((response - both @ solution) ** 2)),
        log_likelihood=log_likelihood,
        rows=len(response),
        counts=counts,
        keys=tuple(
            (component.name, label)
            for component, (labels, _) in zip(components, labels_and_designs, strict=True)
            for label in labels
        ),
        effects=solution[size:],
        prediction_covariance=inverse,
    )
