//! The little algebra of three dimensions that the collision needs.

use crate::scalar::Scalar;

/// Three components along {n, u, t} of the face.
pub(crate) type Vector<S> = [S; 3];

/// A symmetric matrix as its entries nn, uu, tt, nu, nt, ut.
pub(crate) type Symmetric<S> = [S; 6];

#[inline]
pub(crate) fn dot<S: Scalar>(a: &Vector<S>, b: &Vector<S>) -> S {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline]
pub(crate) fn cross<S: Scalar>(a: &Vector<S>, b: &Vector<S>) -> Vector<S> {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[inline]
pub(crate) fn scaled<S: Scalar>(a: &Vector<S>, factor: S) -> Vector<S> {
    [a[0] * factor, a[1] * factor, a[2] * factor]
}

#[inline]
pub(crate) fn times<S: Scalar>(matrix: &Symmetric<S>, a: &Vector<S>) -> Vector<S> {
    let [nn, uu, tt, nu, nt, ut] = *matrix;
    [nn * a[0] + nu * a[1] + nt * a[2], nu * a[0] + uu * a[1] + ut * a[2], nt * a[0] + ut * a[1] + tt * a[2]]
}

/// The adjugate and the determinant of a symmetric matrix; the inverse is the one divided by the other.
#[inline]
pub(crate) fn adjugate<S: Scalar>(matrix: &Symmetric<S>) -> (Symmetric<S>, S) {
    let [nn, uu, tt, nu, nt, ut] = *matrix;
    let adjugate = [
        uu * tt - ut * ut,
        nn * tt - nt * nt,
        nn * uu - nu * nu,
        nt * ut - nu * tt,
        nu * ut - nt * uu,
        nu * nt - nn * ut,
    ];
    let determinant = nn * adjugate[0] + nu * adjugate[3] + nt * adjugate[4];
    (adjugate, determinant)
}

/// `-[lever]x P [lever]x` for a constant symmetric P: how a force at the lever moves its own point through rotation.
#[inline]
pub(crate) fn lever_response<S: Scalar>(lever: &Vector<S>, inverse_inertia: &Symmetric<f64>) -> Symmetric<S> {
    let [nn, uu, tt, nu, nt, ut] = *inverse_inertia;
    let [n, u, t] = *lever;
    let (n_n, u_u, t_t, n_u, n_t, u_t) = (n * n, u * u, t * t, n * u, n * t, u * t);
    [
        t_t * uu - u_t * (2.0 * ut) + u_u * tt,
        t_t * nn - n_t * (2.0 * nt) + n_n * tt,
        u_u * nn - n_u * (2.0 * nu) + n_n * uu,
        u_t * nt - t_t * nu - n_u * tt + n_t * ut,
        u_t * nu - u_u * nt + n_u * ut - n_t * uu,
        n_u * nt - n_n * ut - u_t * nn + n_t * nu,
    ]
}
