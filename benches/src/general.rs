//! The same four-state step by general crates, with the same matrices.

use crate::Answer;
use crate::estimator::{NOISE, START, matrices};
use nalgebra::{Matrix1, Matrix4, RowVector4, SMatrix, Vector1, Vector4};

/// Dense matrices of fixed size, written out.
pub fn nalgebra(measured: &[f32]) -> Answer {
    let (f, q, mut x, mut p) = start();
    let h = RowVector4::new(0.0, 0.0, 1.0, 1.0);
    for y in measured {
        x = f * x;
        p = f * p * f.transpose() + q;
        let ph = p * h.transpose();
        let variance = (h * ph)[0] + NOISE;
        let gain = ph / variance;
        x += gain * (y - (h * x)[0]);
        p -= gain * ph.transpose();
    }
    answer(&x, &p)
}

fn start() -> (Matrix4<f32>, Matrix4<f32>, Vector4<f32>, Matrix4<f32>) {
    let (f, q) = matrices();
    let of = |rows: [[f32; 4]; 4]| Matrix4::from_fn(|row, column| rows[row][column]);
    (of(f), of(q), Vector4::from(START.0), Matrix4::from_diagonal(&Vector4::from(START.1)))
}

fn answer(x: &Vector4<f32>, p: &SMatrix<f32, 4, 4>) -> Answer {
    x.iter().copied().chain(p.diagonal().iter().copied()).collect()
}

struct Motion {
    f: Matrix4<f32>,
    ft: Matrix4<f32>,
    q: Matrix4<f32>,
}

impl adskalman::TransitionModelLinearNoControl<f32, nalgebra::U4> for Motion {
    fn F(&self) -> &Matrix4<f32> {
        &self.f
    }
    fn FT(&self) -> &Matrix4<f32> {
        &self.ft
    }
    fn Q(&self) -> &Matrix4<f32> {
        &self.q
    }
}

struct Sensor {
    h: RowVector4<f32>,
    ht: Vector4<f32>,
    r: Matrix1<f32>,
}

impl adskalman::ObservationModel<f32, nalgebra::U4, nalgebra::U1> for Sensor {
    fn H(&self) -> &RowVector4<f32> {
        &self.h
    }
    fn HT(&self) -> &Vector4<f32> {
        &self.ht
    }
    fn R(&self) -> &Matrix1<f32> {
        &self.r
    }
}

/// Its cheapest update.
pub fn adskalman(measured: &[f32]) -> Answer {
    let (f, q, x, p) = start();
    let motion = Motion { f, ft: f.transpose(), q };
    let h = RowVector4::new(0.0, 0.0, 1.0, 1.0);
    let sensor = Sensor { h, ht: h.transpose(), r: Matrix1::new(NOISE) };
    let filter = adskalman::KalmanFilterNoControl::new(&motion, &sensor);
    let mut belief = adskalman::StateAndCovariance::new(x, p);
    for y in measured {
        let method = adskalman::CovarianceUpdateMethod::OptimalKalman;
        belief = filter.step_with_options(&belief, &Vector1::new(*y), method).expect("positive");
    }
    answer(belief.state(), belief.covariance())
}

pub fn minikalman(measured: &[f32]) -> Answer {
    use minikalman::prelude::*;
    use minikalman::regular::builder::KalmanFilterBuilder;
    let (f, q) = matrices();
    let builder = KalmanFilterBuilder::<4, f32>::default();
    let mut filter = builder.build();
    let mut sensor = builder.observations().build::<1>();
    filter.state_vector_mut().apply(|x| (0..4).for_each(|k| x[k] = START.0[k]));
    filter.state_transition_mut().apply(|m| {
        (0..16).for_each(|k| m.set_at(k / 4, k % 4, f[k / 4][k % 4]));
    });
    filter.direct_process_noise_mut().apply(|m| {
        (0..16).for_each(|k| m.set_at(k / 4, k % 4, q[k / 4][k % 4]));
    });
    filter.estimate_covariance_mut().apply(|m| {
        (0..16).for_each(|k| m.set_at(k / 4, k % 4, if k % 5 == 0 { START.1[k / 4] } else { 0.0 }));
    });
    sensor.observation_matrix_mut().apply(|m| {
        (0..4).for_each(|k| m.set_at(0, k, if k < 2 { 0.0 } else { 1.0 }));
    });
    sensor.measurement_noise_covariance_mut().apply(|m| m.set_at(0, 0, NOISE));
    for y in measured {
        filter.predict();
        sensor.measurement_vector_mut().apply(|z| z.set_at(0, 0, *y));
        filter.correct(&mut sensor);
    }
    let mut answer: Answer = (0..4).map(|k| filter.state_vector()[k]).collect();
    filter.estimate_covariance().inspect(|p| answer.extend((0..4).map(|k| p.get_at(k, k))));
    answer
}

/// The share of a new reading in a first-order low pass over ten minutes.
fn share() -> f32 {
    1.0 - (-5.0_f32 / 10.0).exp()
}

pub fn biquad(measured: &[f32]) -> Answer {
    use biquad::{Biquad, Coefficients, DirectForm2Transposed};
    let b0 = share();
    let mut filter =
        DirectForm2Transposed::<f32>::new(Coefficients { a1: b0 - 1.0, a2: 0.0, b0, b1: 0.0, b2: 0.0 });
    let first = measured.first().copied().unwrap_or_default();
    (0..200).for_each(|_| _ = filter.run(first)); // settled at the first value, as ours begins
    vec![measured.iter().skip(1).fold(0.0, |_, y| filter.run(*y))]
}

pub fn idsp(measured: &[f32]) -> Answer {
    use dsp_process::SplitProcess;
    use idsp::iir::{Biquad, DirectForm2Transposed};
    let filter = Biquad::<f32> { ba: [share(), 0.0, 0.0, 1.0 - share(), 0.0] };
    let mut state = DirectForm2Transposed::<f32>::default();
    let first = measured.first().copied().unwrap_or_default();
    (0..200).for_each(|_| _ = filter.process(&mut state, first));
    vec![measured.iter().skip(1).fold(0.0, |_, y| filter.process(&mut state, *y))]
}
