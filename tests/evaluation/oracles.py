"""Slow, plain answers from the covariance matrix of all looks, written out: the other road to every figure."""

import numpy as np


def tabular(sire, dam):
    """A by the tabular method; parents may stand anywhere."""
    n = len(sire)
    a = np.zeros((n, n))
    done = []
    while len(done) < n:
        for i in range(n):
            if i in done or any(p >= 0 and p not in done for p in (sire[i], dam[i])):
                continue
            for j in done:
                a[i, j] = a[j, i] = sum(a[p, j] for p in (sire[i], dam[i]) if p >= 0) / 2
            a[i, i] = 1 + (a[sire[i], dam[i]] / 2 if sire[i] >= 0 and dam[i] >= 0 else 0)
            done.append(i)
    return a


class WrittenOut:
    """Best linear prediction and restricted likelihood of one or two traits from V = var(y)."""

    def __init__(self, traits, pedigree, sizes):
        first = traits[0]
        n, t, r = len(pedigree), len(traits), len(first)
        sizes = {name: np.atleast_2d(size) for name, size in sizes.items()}
        a = tabular(pedigree.sire, pedigree.dam)
        z = np.eye(n)[first.animal]
        litter = first.litter if first.litter is not None else np.full(r, -1)
        same_litter = (litter[:, None] == litter) & (litter >= 0)
        y = np.stack([records.value for records in traits], axis=1).ravel()
        seen = ~np.isnan(y)
        v = np.kron(z @ a @ z.T, sizes["animal"]) + np.kron(z @ z.T, sizes["permanent"])
        v += np.kron(same_litter, sizes["litter"]) + np.kron(np.eye(r), sizes["residual"])
        x = np.concatenate(
            [
                np.kron((codes[:, None] == np.unique(codes)).astype(float), np.eye(t)[:, [k]])
                for k, records in enumerate(traits)
                for codes in records.fixed.values()
            ],
            axis=1,
        )
        self.cover = np.kron(a @ z.T, sizes["animal"])[:, seen]
        self.prior = np.kron(a, sizes["animal"])
        self.v, self.x, self.y = v[np.ix_(seen, seen)], x[seen], y[seen]
        self.precise = np.linalg.inv(self.v)
        self.inner = np.linalg.pinv(self.x.T @ self.precise @ self.x)
        self.p = self.precise - self.precise @ self.x @ self.inner @ self.x.T @ self.precise
        self.shape = (n, t)

    def merits(self):
        return (self.cover @ self.p @ self.y).reshape(self.shape)

    def errors(self):
        return self.prior - self.cover @ self.p @ self.cover.T

    def log_likelihood(self, kept):
        """With the columns `kept` of X, which must be as many as its rank."""
        x = self.x[:, kept]
        inside = x.T @ self.precise @ x
        twice = (len(self.y) - x.shape[1]) * np.log(2 * np.pi) + np.linalg.slogdet(self.v)[1]
        return -(twice + np.linalg.slogdet(inside)[1] + self.y @ self.p @ self.y) / 2
