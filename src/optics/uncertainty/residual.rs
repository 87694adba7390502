//! Distribution of the residual cylinder that a lens leaves.
//!
//! `R = A - c u(a + d)`: `A` the vector to correct (normal), `c` the corneal cylinder of the lens, `a` its axis, `d` the
//! error of its angle (a mixture of normals). All that is asked about `|R|` follows from one function of one variable,
//! its radial characteristic function `f(k) = E J0(k |R|)`, at the zeros `j` of J0 over a length `X` that `|R|` does not
//! reach:
//!
//! * `P(|R| <= t) = sum 2 f(j/X) (t/X) J1(j t/X) / (j J1(j)^2)`, the Fourier-Bessel series,
//! * `E |R| = X - int_0^X P dt`, term by term.
//!
//! Turning the plane back by the angle error, `|R| = |A' - c u(a)|`, and by the addition theorem
//! `f(k) = sum_n e_n J_n(k c) Re[C_n(k) E(e^(-2 i n d)) e^(-2 i n a)]`, with `e_0 = 1`, else 2. Both expectations are
//! exact. For a normal of mean `m` at the angle `g`, standard deviations `s1 > s2`, the first of them along `h`,
//! `C_n(k) = E J_n(k |A|) e^(i n arg A) = e^(-k^2 s2^2 / 2) sum_p e^(-z) I_p(z) J_(n-2p)(k m) e^(i (n g + 2 p (h - g)))`,
//! `z = k^2 (s1^2 - s2^2) / 4`; the second is a sum of exponentials. No sampling and no grid in the plane: the same input
//! gives the same bits, the error of a chance is about 1e-6. Source: [`BESSEL_ADDITION`](crate::cite::BESSEL_ADDITION),
//! checked against integration in two dimensions and against quantiles of the noncentral chi-square distribution.

use crate::optics::uncertainty::bessel::{first_two, modified_orders, orders, vanishing_order, whole, zeros};
use crate::optics::uncertainty::{AngleMixture, Estimate, Principal, UncertaintyError};
use crate::units::{Dioptre, Meridian, PowerVector, trig};

/// Limits of the residual cylinder for which chances are printed.
pub const THRESHOLDS: [Dioptre; 3] =
    [Dioptre::from_dioptres(0.25), Dioptre::from_dioptres(0.50), Dioptre::from_dioptres(0.75)];

/// Least standard deviation reckoned with, in dioptres; a budget below it is a slip of the settings. Source:
/// [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
const LEAST_SD_D: f64 = 0.05;

/// The characteristic function is cut where its normal factor falls to `exp(-CUT^2 / 2)`, 3e-7.
const CUT: f64 = 5.5;

/// The residual does not reach beyond the sum of eye and lens by more than this many standard deviations.
const REACH: f64 = 5.5;

/// Harmonics of the angle error below this are left out.
const LEAST_HARMONIC: f64 = 1e-8;

/// Terms of the anisotropy below this are left out.
const LEAST_TERM: f64 = 1e-7;

/// The vector to correct and the angle error of one eye, prepared for any lens.
///
/// ```
/// use axiswright::optics::uncertainty::{AngleSds, ComponentSds, Covariance, Estimate, AngleMixture, ResidualModel};
/// use axiswright::units::{Dioptre, Meridian, PowerVector};
/// let d = Dioptre::from_dioptres;
/// let eye = Estimate {
///     mean: PowerVector::from_steep(d(2.0), Meridian::VERTICAL),
///     covariance: Covariance::isotropic(d(0.35)),
/// };
/// let model = ResidualModel::prepare(&eye, &AngleMixture::exact(), d(2.0)).unwrap();
/// let left = model.residual(d(2.0), Meridian::VERTICAL).unwrap();
/// // Rayleigh: 1 - exp(-0.5^2 / (2 * 0.35^2))
/// assert!((left.chances().within_0_50 - 0.639_552).abs() < 1e-5);
/// ```
#[derive(Debug, Clone)]
pub struct ResidualModel {
    nodes: Vec<Node>,
    reach: f64,
    strongest: f64,
    eye: Estimate,
    mean_cos: f64,
    mean_sin: f64,
}

/// One term of the series over the zeros of J0.
#[derive(Debug, Clone)]
struct Node {
    /// The zero over the reach.
    k: f64,
    /// `2 / (X j J1(j)^2)`: times `t J1(k t)` it is the weight of this term in a chance.
    weight: f64,
    /// Weights of this term in the printed chances.
    within: [f64; 3],
    /// Weight of this term in the integral of the distribution.
    integral: f64,
    /// The coefficients of the sum over `n`, real and imaginary.
    terms: Vec<(f64, f64)>,
}

/// Chances of the residual cylinder, fractions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chances {
    /// At most 0.25 D.
    pub within_0_25: f64,
    /// At most 0.50 D.
    pub within_0_50: f64,
    /// At most 0.75 D.
    pub within_0_75: f64,
}

/// Distribution of the residual cylinder that one lens leaves.
#[derive(Debug, Clone)]
pub struct ResidualDistribution {
    /// Nodes `k` and their weights times the characteristic function.
    points: Vec<(f64, f64)>,
    /// The residual does not reach beyond this, in dioptres; the series holds below it only.
    reach: f64,
    chances: Chances,
    expected: f64,
    mean_square: f64,
}

impl ResidualModel {
    /// Prepares an eye for lenses up to a corneal cylinder of `strongest`.
    ///
    /// # Errors
    /// [`UncertaintyError::TooCertain`] when a direction scatters by less than 0.05 D, and
    /// [`UncertaintyError::LensOutside`] for a lens with a sign.
    pub fn prepare(
        eye: &Estimate,
        angle: &AngleMixture,
        strongest: Dioptre,
    ) -> Result<Self, UncertaintyError> {
        let axes = eye.covariance.principal();
        if axes.smaller < LEAST_SD_D {
            return Err(UncertaintyError::TooCertain { sd_d: axes.smaller, least_d: LEAST_SD_D });
        }
        let strongest = strongest.dioptres();
        if strongest < 0.0 {
            return Err(UncertaintyError::LensOutside { lens_d: strongest, strongest_d: strongest });
        }
        let size = eye.mean.cylinder().dioptres();
        let reach = size + strongest + REACH * axes.larger;
        let cut = CUT / axes.smaller;
        // Zeros of J0 lie pi apart.
        let zeros = zeros(whole(cut * reach / core::f64::consts::PI));
        let harmonics = harmonics(angle, vanishing_order(cut * strongest));
        let mut field = Field::of(eye.mean, axes);
        let nodes = zeros
            .into_iter()
            .map(|zero| {
                let k = zero.at / reach;
                let order = vanishing_order(k * strongest);
                let terms = field
                    .angular_means(k, order)
                    .iter()
                    .zip(&harmonics)
                    .enumerate()
                    .map(|(n, ((re, im), (cos, sin)))| {
                        // E e^(-2ind) = cos - i sin
                        let factor = if n == 0 { 1.0 } else { 2.0 };
                        (factor * (re * cos + im * sin), factor * (im * cos - re * sin))
                    })
                    .collect();
                let weight = 2.0 / (reach * zero.at * zero.j1 * zero.j1);
                let within = THRESHOLDS
                    .map(|limit| limit.dioptres().min(reach))
                    .map(|limit| weight * limit * first_two(k * limit).1);
                Node { k, weight, within, integral: weight * reach * reach * zero.moment, terms }
            })
            .collect();
        let (mean_cos, mean_sin) = angle.harmonic(1);
        Ok(Self { nodes, reach, strongest, eye: *eye, mean_cos, mean_sin })
    }

    /// The residual of a lens of corneal cylinder `lens` planned on `axis`.
    ///
    /// # Errors
    /// [`UncertaintyError::LensOutside`] for a lens with a sign or stronger than prepared for.
    pub fn residual(&self, lens: Dioptre, axis: Meridian) -> Result<ResidualDistribution, UncertaintyError> {
        let cylinder = lens.dioptres();
        if !(0.0..=self.strongest).contains(&cylinder) {
            return Err(UncertaintyError::LensOutside { lens_d: cylinder, strongest_d: self.strongest });
        }
        let angle = 2.0 * trig::radians(axis.degrees());
        let (step_cos, step_sin) = (trig::cos(angle), trig::sin(angle));
        let mut work = Vec::new();
        let mut within = [0.0; 3];
        let mut expected = self.reach;
        let mut points = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let highest = u32::try_from(node.terms.len()).unwrap_or(u32::MAX).saturating_sub(1);
            orders(node.k * cylinder, highest, &mut work);
            let (mut cos, mut sin, mut value) = (1.0, 0.0, 0.0);
            for ((re, im), bessel) in node.terms.iter().zip(&work) {
                value += bessel * (re * cos + im * sin);
                (cos, sin) = (cos * step_cos - sin * step_sin, sin * step_cos + cos * step_sin);
            }
            for (sum, weight) in within.iter_mut().zip(node.within) {
                *sum += value * weight;
            }
            expected -= value * node.integral;
            points.push((node.k, node.weight * value));
        }
        let [within_0_25, within_0_50, within_0_75] = within.map(|chance: f64| chance.clamp(0.0, 1.0));
        Ok(ResidualDistribution {
            points,
            reach: self.reach,
            chances: Chances { within_0_25, within_0_50, within_0_75 },
            expected,
            mean_square: self.mean_square(cylinder, axis),
        })
    }

    /// `E |R|^2 = |m|^2 + tr S + c^2 - 2 c E[m . u(a + d)]`, exact.
    fn mean_square(&self, cylinder: f64, axis: Meridian) -> f64 {
        let mean = self.eye.mean;
        let size = mean.cylinder().dioptres();
        let along =
            self.mean_cos * mean.along(axis).dioptres() + self.mean_sin * mean.torque(axis).dioptres();
        size * size + self.eye.covariance.trace() + cylinder * cylinder - 2.0 * cylinder * along
    }
}

/// `E cos 2nd` and `E sin 2nd` from order 0 until they vanish, at most to `highest`.
fn harmonics(angle: &AngleMixture, highest: u32) -> Vec<(f64, f64)> {
    (0..=highest)
        .map(|order| angle.harmonic(order))
        .take_while(|(cos, sin)| cos.abs().max(sin.abs()) > LEAST_HARMONIC)
        .collect()
}

/// The vector to correct, as the angular means of its Bessel functions.
struct Field {
    size: f64,
    angle: f64,
    axes: Principal,
    bessel: Vec<f64>,
    modified: Vec<f64>,
    means: Vec<(f64, f64)>,
}

impl Field {
    fn of(mean: PowerVector, axes: Principal) -> Self {
        Self {
            size: mean.cylinder().dioptres(),
            angle: trig::atan2(mean.y(), mean.x()),
            axes,
            bessel: Vec::new(),
            modified: Vec::new(),
            means: Vec::new(),
        }
    }

    /// `E J_n(k |A|) e^(i n arg A)` for orders 0 to `order`.
    fn angular_means(&mut self, k: f64, order: u32) -> &[(f64, f64)] {
        let (larger, smaller) = (self.axes.larger, self.axes.smaller);
        let damping = trig::exp(-k * k * smaller * smaller / 2.0);
        modified_orders(k * k * (larger * larger - smaller * smaller).max(0.0) / 4.0, &mut self.modified);
        let kept = self.modified.iter().take_while(|term| **term * damping > LEAST_TERM).count().max(1);
        self.modified.truncate(kept);
        let widest = u32::try_from(kept - 1).unwrap_or(u32::MAX);
        orders(k * self.size, order + 2 * widest, &mut self.bessel);
        let turn = 2.0 * (self.axes.direction - self.angle);
        let turns: Vec<(f64, f64)> =
            (0..=widest).map(|p| f64::from(p) * turn).map(|t| (trig::cos(t), trig::sin(t))).collect();
        let (step_cos, step_sin) = (trig::cos(self.angle), trig::sin(self.angle));
        let (mut own_cos, mut own_sin) = (damping, 0.0);
        self.means.clear();
        for n in 0..=i64::from(order) {
            let (mut re, mut im) = (0.0, 0.0);
            for ((p, weight), (cos, sin)) in (0..).zip(&self.modified).zip(&turns) {
                let (lower, upper) = (self.signed(n - 2 * p), self.signed(n + 2 * p));
                if p == 0 {
                    re += weight * lower;
                } else {
                    re += weight * cos * (lower + upper);
                    im += weight * sin * (lower - upper);
                }
            }
            self.means.push((re * own_cos - im * own_sin, re * own_sin + im * own_cos));
            (own_cos, own_sin) =
                (own_cos * step_cos - own_sin * step_sin, own_sin * step_cos + own_cos * step_sin);
        }
        &self.means
    }

    /// `J_n` of the present argument for an order of either sign.
    fn signed(&self, order: i64) -> f64 {
        let value =
            usize::try_from(order.abs()).ok().and_then(|at| self.bessel.get(at)).copied().unwrap_or(0.0);
        if order < 0 && order % 2 != 0 { -value } else { value }
    }
}

impl ResidualDistribution {
    /// Chances of at most 0.25, 0.50 and 0.75 D.
    pub const fn chances(&self) -> Chances {
        self.chances
    }

    /// Expected magnitude of the residual cylinder.
    pub fn expected_magnitude(&self) -> Dioptre {
        Dioptre::computed(self.expected).unwrap_or(Dioptre::ZERO)
    }

    /// Mean of the squared magnitude, in square dioptres.
    pub const fn mean_square(&self) -> f64 {
        self.mean_square
    }

    /// Chance that the residual cylinder is at most `limit`, a fraction; zero for a limit of zero or below.
    pub fn probability_within(&self, limit: Dioptre) -> f64 {
        if limit.dioptres() <= 0.0 { 0.0 } else { self.distribution_and_density(limit.dioptres()).0 }
    }

    /// Magnitude that the residual stays below in a share `share` of eyes.
    ///
    /// # Errors
    /// [`UncertaintyError::NoProbability`] for a share outside 0.01 to 0.99, where this is not made for.
    pub fn quantile(&self, share: f64) -> Result<Dioptre, UncertaintyError> {
        if !(0.01..=0.99).contains(&share) {
            return Err(UncertaintyError::NoProbability { value: share });
        }
        let scatter = (self.mean_square - self.expected * self.expected).max(0.0).sqrt();
        let (mut low, mut high) = (0.0, self.reach);
        let mut at = self.expected + scatter * if share > 0.8 { 1.7 } else { 0.0 };
        for _ in 0..60 {
            let (below, density) = self.distribution_and_density(at);
            if below < share {
                low = at;
            } else {
                high = at;
            }
            let newton = at + (share - below) / density;
            let inside = newton > low && newton < high;
            let step = (newton - at).abs();
            at = if inside { newton } else { f64::midpoint(low, high) };
            // Newton's method squares the error of its last step: 1e-3 leaves about 1e-6.
            if inside && step < 1e-3 {
                break;
            }
        }
        Dioptre::computed(at).ok_or(UncertaintyError::NotFinite { what: "a quantile" })
    }

    /// Half of the eyes stay below this magnitude.
    ///
    /// # Errors
    /// [`UncertaintyError::NotFinite`] when the distribution is no distribution.
    pub fn median(&self) -> Result<Dioptre, UncertaintyError> {
        self.quantile(0.5)
    }

    /// 95 % of the eyes stay below this magnitude.
    ///
    /// # Errors
    /// [`UncertaintyError::NotFinite`] when the distribution is no distribution.
    pub fn p95(&self) -> Result<Dioptre, UncertaintyError> {
        self.quantile(0.95)
    }

    fn distribution_and_density(&self, t: f64) -> (f64, f64) {
        if t >= self.reach {
            return (1.0, 0.0);
        }
        let (mut below, mut density) = (0.0, 0.0);
        for (k, weight) in &self.points {
            let (zero, one) = first_two(k * t);
            below += weight * one;
            density += weight * k * zero;
        }
        ((t * below).clamp(0.0, 1.0), t * density)
    }
}
