//! Distribution of the residual cylinder that a lens leaves.
//!
//! `R = A - c u(a + d)`: `A` the vector to correct (normal), `c` the corneal cylinder of the lens, `a` its axis, `d` the
//! error of its angle (a mixture of normals). All that is asked about `|R|` follows from one function of one variable,
//! its radial characteristic function `f(k) = E J0(k |R|)`:
//!
//! * `P(|R| <= t) = t int_0^inf f(k) J1(k t) dk`,
//! * `E |R| = int_0^inf (1 - f(k)) / k^2 dk`.
//!
//! Turning the plane back by the angle error, `|R| = |A' - c u(a)|`, and by the addition theorem
//! `f(k) = sum_n e_n J_n(k c) Re[ E(J_n(k |A|) e^(i n arg A)) E(e^(-2 i n d)) e^(-2 i n a) ]`, with `e_0 = 1`, else 2. Both
//! expectations are exact: the first is `e^(-k^2 s^2 / 2) J_n(k |m|) e^(i n arg m)` for a normal of mean `m` and standard
//! deviation `s` (a wider direction is spread over nodes), the second a sum of exponentials. No sampling, no grid in the
//! plane; the same input gives the same bits. Source: [`BESSEL_ADDITION`](crate::cite::BESSEL_ADDITION), checked against
//! integration in two dimensions and against published quantiles of the noncentral chi-square distribution.

use crate::optics::uncertainty::bessel::{first_two, gauss_legendre, orders, vanishing_order, whole};
use crate::optics::uncertainty::{AngleMixture, Estimate, UncertaintyError};
use crate::units::{Dioptre, Meridian, PowerVector, trig};

/// Limits of the residual cylinder for which chances are printed.
pub const THRESHOLDS: [Dioptre; 3] =
    [Dioptre::from_dioptres(0.25), Dioptre::from_dioptres(0.50), Dioptre::from_dioptres(0.75)];

/// Least standard deviation reckoned with, in dioptres; a budget below it is a slip of the settings. Source:
/// [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
const LEAST_SD_D: f64 = 0.05;

/// The characteristic function is cut where its normal factor falls below `exp(-CUT^2 / 2)`, 1e-8.
const CUT: f64 = 6.07;

/// Points of one panel of the quadrature.
const PANEL: u32 = 16;

/// Harmonics of the angle error below this are left out.
const LEAST_HARMONIC: f64 = 1e-11;

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
/// assert!((left.chances().within_0_50 - 0.639_565).abs() < 1e-5);
/// ```
#[derive(Debug, Clone)]
pub struct ResidualModel {
    nodes: Vec<Node>,
    cut: f64,
    strongest: f64,
    eye: Estimate,
    mean_cos: f64,
    mean_sin: f64,
}

/// One node of the quadrature over `k`.
#[derive(Debug, Clone)]
struct Node {
    k: f64,
    weight: f64,
    /// `t J1(k t)` at the printed limits.
    kernel: [f64; 3],
    /// The coefficients of the sum over `n`, real and imaginary.
    terms: Vec<(f64, f64)>,
}

/// A point of the distribution of the mean when one direction scatters more than the other.
struct Spread {
    weight: f64,
    size: f64,
    angle: f64,
}

/// Points and weights that spread `mean` along a direction of the double-angle plane by a normal of standard deviation
/// `extra`, fine enough for what scatters by `smaller` besides.
fn spread(mean: PowerVector, extra: f64, smaller: f64, direction: f64) -> Vec<Spread> {
    let ratio = extra / smaller;
    let at = |z: f64, weight: f64| {
        let x = mean.x() + z * extra * trig::cos(direction);
        let y = mean.y() + z * extra * trig::sin(direction);
        Spread { weight, size: trig::hypot(x, y), angle: trig::atan2(y, x) }
    };
    if ratio <= 1e-7 {
        return vec![at(0.0, 1.0)];
    }
    // The trapezium rule on a normal times a function of width 1/ratio errs by exp(-2 pi^2 / (h^2 (1 + ratio^2))), and
    // by what lies beyond its ends: both 1e-7 here.
    let step = 1.1 / (1.0 + ratio * ratio).sqrt();
    let side = whole(5.5 / step);
    let z = |i: u32| (f64::from(i) - f64::from(side)) * step;
    let density = |z: f64| trig::exp(-z * z / 2.0);
    let total: f64 = (0..=2 * side).map(|i| density(z(i))).sum();
    (0..=2 * side).map(|i| at(z(i), density(z(i)) / total)).collect()
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
    /// Nodes `k`, weights, characteristic function.
    points: Vec<(f64, f64, f64)>,
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
        let extra = (axes.larger * axes.larger - axes.smaller * axes.smaller).max(0.0).sqrt();
        let means = spread(eye.mean, extra, axes.smaller, axes.direction);
        let farthest = means.iter().fold(0.0, |most: f64, mean| most.max(mean.size));
        let cut = CUT / axes.smaller;
        // The functions of k oscillate with at most the sum of these lengths.
        let reach = eye.mean.cylinder().dioptres() + strongest + 3.0 * axes.larger;
        let panels = whole(cut * reach / f64::from(PANEL)).max(2);
        let width = cut / f64::from(panels);
        let harmonics = harmonics(angle, vanishing_order(cut * strongest.min(farthest)));
        let rule = gauss_legendre(PANEL);
        let (mut work, mut sums) = (Vec::new(), Vec::new());
        let mut nodes = Vec::new();
        for panel in 0..panels {
            for (x, w) in &rule {
                let k = width * (f64::from(panel) + f64::midpoint(1.0, *x));
                let order = vanishing_order(k * strongest.min(farthest));
                angular_means(k, order, &means, &mut work, &mut sums);
                let damping = trig::exp(-k * k * axes.smaller * axes.smaller / 2.0);
                let terms = sums
                    .iter()
                    .zip(&harmonics)
                    .enumerate()
                    .map(|(n, ((re, im), (cos, sin)))| {
                        // E e^(-2ind) = cos - i sin
                        let factor = if n == 0 { damping } else { 2.0 * damping };
                        (factor * (re * cos + im * sin), factor * (im * cos - re * sin))
                    })
                    .collect();
                let kernel = THRESHOLDS.map(|t| t.dioptres() * first_two(k * t.dioptres(), &mut work).1);
                nodes.push(Node { k, weight: w * width / 2.0, kernel, terms });
            }
        }
        let (mean_cos, mean_sin) = angle.harmonic(1);
        Ok(Self { nodes, cut, strongest, eye: *eye, mean_cos, mean_sin })
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
        let mut expected = 1.0 / self.cut;
        let mut points = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let highest = u32::try_from(node.terms.len()).unwrap_or(u32::MAX).saturating_sub(1);
            orders(node.k * cylinder, highest, &mut work);
            let (mut cos, mut sin, mut value) = (1.0, 0.0, 0.0);
            for ((re, im), bessel) in node.terms.iter().zip(&work) {
                value += bessel * (re * cos + im * sin);
                (cos, sin) = (cos * step_cos - sin * step_sin, sin * step_cos + cos * step_sin);
            }
            for (sum, kernel) in within.iter_mut().zip(node.kernel) {
                *sum += node.weight * value * kernel;
            }
            expected += node.weight * (1.0 - value) / (node.k * node.k);
            points.push((node.k, node.weight, value));
        }
        let [within_0_25, within_0_50, within_0_75] = within.map(|chance: f64| chance.clamp(0.0, 1.0));
        Ok(ResidualDistribution {
            points,
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

/// `sum_z w J_n(k |m|) e^(i n arg m)` over the means, for orders 0 to `order`.
fn angular_means(k: f64, order: u32, means: &[Spread], work: &mut Vec<f64>, sums: &mut Vec<(f64, f64)>) {
    sums.clear();
    sums.extend((0..=order).map(|_| (0.0, 0.0)));
    for mean in means {
        orders(k * mean.size, order, work);
        let (step_cos, step_sin) = (trig::cos(mean.angle), trig::sin(mean.angle));
        let (mut cos, mut sin) = (mean.weight, 0.0);
        for (sum, bessel) in sums.iter_mut().zip(work.iter()) {
            sum.0 += bessel * cos;
            sum.1 += bessel * sin;
            (cos, sin) = (cos * step_cos - sin * step_sin, sin * step_cos + cos * step_sin);
        }
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
        let (mut low, mut high) = (0.0, self.expected + 8.0 * scatter);
        let mut at = self.expected + scatter * if share > 0.8 { 1.7 } else { 0.0 };
        for _ in 0..60 {
            let (below, density) = self.distribution_and_density(at);
            if below < share {
                low = at;
            } else {
                high = at;
            }
            let next = at + (share - below) / density;
            let next = if next > low && next < high { next } else { f64::midpoint(low, high) };
            let step = (next - at).abs();
            at = next;
            if step < 1e-6 {
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
        let mut work = Vec::new();
        let (mut below, mut density) = (0.0, 0.0);
        for (k, weight, value) in &self.points {
            let (zero, one) = first_two(k * t, &mut work);
            below += weight * value * one;
            density += weight * value * k * zero;
        }
        ((t * below).clamp(0.0, 1.0), t * density)
    }
}
