"""Linear mixed models: the one door to statsmodels.

statsmodels finds the variance components; everything people read is then computed here from
Henderson's mixed-model equations, so that coefficients, effects, predictions and their covariance
come from one matrix and a shaky Hessian never reaches an answer.

Henderson (1975) Biometrics 31:423-447, doi:10.2307/2529430 (equations and joint covariance).
"""

import math
import warnings
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError, NotIdentifiedError, TooFewError

_NEGLIGIBLE = 1e-6
_SCORE_TOLERANCE = 1e-3


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
            spots = np.array([place.get((name, label), -1) for label in labels])
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


def fit_mixed(
    response: FloatArray,
    fixed: FloatArray,
    names: Sequence[str],
    *,
    groups: Sequence[Hashable] | None = None,
    joint: Sequence[Component] = (),
    separate: Sequence[Component] = (),
    reml: bool = True,
    residual_floor: float = 0.0,
) -> MixedFit:
    """Fit `response = fixed @ beta + joint effects + separate effects + error`.

    Parameters
    ----------
    response : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
    names : sequence of str, length p
    groups : sequence of hashable or None
        Outermost groups, between which nothing is shared; None where effects cross.
    joint : sequence of Component
        Vary together with a full covariance; their labels are the groups.
    separate : sequence of Component
        Independent of each other; labels within groups.
    reml : bool
        Restricted likelihood, or the full one.
    residual_floor : float
        Least residual variance, from what the gauge can resolve.

    Returns
    -------
    MixedFit
        Ordinary least squares where no component is given.

    Raises
    ------
    TooFewError
        Not more rows than fixed effects.
    NotIdentifiedError
        The fixed columns say the same thing twice, or a variance is nought.
    NotConvergedError
        The optimiser did not reach a maximum, or it is no proper maximum.
    """
    _check_fixed(fixed, names)
    components = (*joint, *separate)
    if not components:
        return _least_squares(response, fixed, tuple(names), residual_floor)
    spread = float(np.std(response - fixed @ np.linalg.lstsq(fixed, response, rcond=None)[0]))
    if not spread > _NEGLIGIBLE * max(1.0, float(np.max(np.abs(response)))):
        message = "the readings lie exactly on a line: no variance to split between components"
        raise NotIdentifiedError(message, direction="every variance shrinks to nought")
    # In units of the spread, so that the optimiser's tolerances mean the same for thou and logs.
    found = _optimise(response / spread, fixed, groups, joint, separate, reml=reml)
    scale = spread**2
    constant = (len(response) - (len(names) if reml else 0)) * math.log(spread)
    floor = max(found.residual * scale, residual_floor)
    return _henderson(
        response,
        fixed,
        tuple(names),
        components,
        joint_names=tuple(c.name for c in joint),
        joint_covariance=found.joint * scale,
        separate_variances=found.separate * scale,
        residual=floor,
        log_likelihood=found.log_likelihood - constant,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    joint: FloatArray
    separate: FloatArray
    residual: float
    log_likelihood: float


def _check_fixed(fixed: FloatArray, names: Sequence[str]) -> None:
    rows, columns = fixed.shape
    if rows <= columns:
        message = f"{rows} readings cannot fit {columns} coefficients ({', '.join(names)})"
        raise TooFewError(message, have=rows, need=columns + 1)
    lengths = np.linalg.norm(fixed, axis=0)
    if (lengths == 0.0).any() or np.linalg.matrix_rank(fixed / lengths, tol=1e-8) < columns:
        message = f"the columns {', '.join(names)} say the same thing twice or never change"
        raise NotIdentifiedError(message, direction="a coefficient may be anything")


def _codes(labels: Sequence[Hashable]) -> tuple[list[Hashable], IntArray]:
    order: dict[Hashable, int] = {}
    codes = [order.setdefault(label, len(order)) for label in labels]
    return list(order), np.array(codes, dtype=np.int64)


def _design(component: Component) -> tuple[list[Hashable], FloatArray]:
    labels, codes = _codes(component.labels)
    design = np.zeros((len(codes), len(labels)))
    design[np.arange(len(codes)), codes] = component.column
    return labels, design


def _optimise(
    response: FloatArray,
    fixed: FloatArray,
    groups: Sequence[Hashable] | None,
    joint: Sequence[Component],
    separate: Sequence[Component],
    *,
    reml: bool,
) -> _Found:
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    rows = len(response)
    group_codes = np.zeros(rows, dtype=np.int64) if groups is None else _codes(groups)[1]
    members = [np.flatnonzero(group_codes == g) for g in range(int(group_codes.max()) + 1)]
    matrices, columns = [], []
    for component in separate:
        _, design = _design(component)
        blocks = [design[rows_in] for rows_in in members]
        kept = [block[:, np.abs(block).sum(axis=0) > 0.0] for block in blocks]
        matrices.append(kept)
        columns.append([[str(k) for k in range(block.shape[1])] for block in kept])
    spec = VCSpec([component.name for component in separate], columns, matrices)
    with warnings.catch_warnings():
        # Its warnings are acted upon by looking at the result below, not by reading their text.
        warnings.simplefilter("ignore")
        model = MixedLM(
            response,
            fixed,
            group_codes,
            exog_re=np.column_stack([c.column for c in joint]) if joint else None,
            exog_vc=spec if separate else None,
        )
        try:
            result = model.fit(reml=reml, method=["bfgs", "lbfgs", "powell"])
        except (np.linalg.LinAlgError, ValueError) as error:
            message = f"the mixed model could not be fitted ({error})"
            raise NotConvergedError(message, last=()) from error
    joint_covariance = np.asarray(result.cov_re, float).reshape(len(joint), len(joint))
    variances = np.asarray(result.vcomp, float).reshape(len(separate))
    residual = float(result.scale)
    last = (*joint_covariance.ravel(), *variances, residual)
    if not (result.converged and np.isfinite(last).all() and residual > 0.0):
        message = "the mixed model's optimiser did not reach a maximum"
        raise NotConvergedError(message, last=last)
    _check_not_at_edge(joint, separate, joint_covariance, variances, residual)
    where = result.params_object
    slope = np.asarray(model.score(where.get_packed(use_sqrt=True, has_fe=False)), float)
    curve = np.asarray(model.hessian(where)[0], float)[fixed.shape[1] :, fixed.shape[1] :]
    if np.max(np.abs(slope)) > _SCORE_TOLERANCE * rows:
        message = "the mixed model's likelihood still rises where its optimiser stopped"
        raise NotConvergedError(message, last=last)
    if not np.linalg.eigvalsh(-(curve + curve.T)).min() > 0.0:
        message = "the mixed model's likelihood is no proper maximum where its optimiser stopped"
        raise NotConvergedError(message, last=last)
    return _Found(joint_covariance, variances, residual, float(result.llf))


def _check_not_at_edge(
    joint: Sequence[Component],
    separate: Sequence[Component],
    joint_covariance: FloatArray,
    variances: FloatArray,
    residual: float,
) -> None:
    """Refuse a component estimated at nought: a simpler model says the same."""
    last = (*joint_covariance.ravel(), *variances, residual)
    every = zip((*joint, *separate), (*np.diag(joint_covariance), *variances), strict=True)
    for component, variance in every:
        if variance * float(np.mean(component.column**2)) < _NEGLIGIBLE * residual:
            message = f"the spread of {component.name} is estimated at nought"
            raise NotConvergedError(message, last=last)
    if joint:
        spread = np.sqrt(np.diag(joint_covariance))
        if np.linalg.eigvalsh(joint_covariance / np.outer(spread, spread)).min() < _NEGLIGIBLE:
            names = " and ".join(component.name for component in joint)
            message = f"{names} are estimated to move together exactly"
            raise NotConvergedError(message, last=last)


def _least_squares(
    response: FloatArray, fixed: FloatArray, names: tuple[str, ...], residual_floor: float
) -> MixedFit:
    rows, size = fixed.shape
    coefficients = np.linalg.lstsq(fixed, response, rcond=None)[0]
    squares = float(np.sum((response - fixed @ coefficients) ** 2))
    residual = max(squares / (rows - size), residual_floor)
    if not residual > 0.0:
        message = "the readings lie exactly on a line, so their scatter is not known"
        raise NotIdentifiedError(message, direction="the residual variance shrinks to nought")
    log_determinant = float(np.linalg.slogdet(fixed.T @ fixed)[1])
    log_likelihood = -0.5 * (
        (rows - size) * math.log(2.0 * math.pi * residual) + squares / residual + log_determinant
    )
    return _henderson(
        response,
        fixed,
        names,
        (),
        joint_names=(),
        joint_covariance=np.zeros((0, 0)),
        separate_variances=np.zeros(0),
        residual=residual,
        log_likelihood=log_likelihood,
    )


def _henderson(
    response: FloatArray,
    fixed: FloatArray,
    names: tuple[str, ...],
    components: Sequence[Component],
    *,
    joint_names: tuple[str, ...],
    joint_covariance: FloatArray,
    separate_variances: FloatArray,
    residual: float,
    log_likelihood: float,
) -> MixedFit:
    """Solve the mixed-model equations at given variances."""
    labels_and_designs = [_design(component) for component in components]
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
    inverse: FloatArray = np.asarray(
        np.linalg.inv(both.T @ both / residual + precision), dtype=np.float64
    )
    solution = inverse @ (both.T @ response) / residual
    variances = (*np.diag(joint_covariance), *separate_variances)
    return MixedFit(
        names=names,
        coefficients=solution[:size],
        covariance=inverse[:size, :size],
        joint_names=joint_names,
        joint_covariance=joint_covariance,
        variances={c.name: float(v) for c, v in zip(components, variances, strict=True)},
        residual_variance=residual,
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
