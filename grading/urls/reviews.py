"""Addresses of reviews as owners and mentors read them."""

from django.urls import path

from grading.views import review_ask, reviews

urlpatterns = [
    path("reviews/", reviews.review_list, name="review-list"),
    path("reviews/new/", review_ask.review_create, name="review-create"),
    path("reviews/new/<slug:slug>/", review_ask.review_check, name="review-check"),
    path("reviews/new/<slug:slug>/discard/", review_ask.review_discard, name="review-discard"),
    path("reviews/<int:pk>/", reviews.review_detail, name="review-detail"),
    path("reviews/<int:pk>/take/", reviews.review_take, name="review-take"),
    path("reviews/<int:pk>/hand-on/", reviews.review_hand_on, name="review-hand-on"),
    path("reviews/<int:pk>/withdraw/", reviews.review_withdraw, name="review-withdraw"),
    path("reviews/<int:pk>/until/", reviews.review_prolong, name="review-prolong"),
    path("reviews/<int:pk>/words/", reviews.review_word_create, name="review-word-create"),
    path("review-animals/<int:pk>/done/", reviews.review_act, name="review-act"),
    path("wishes/<int:pk>/met/", reviews.wish_meet, name="wish-meet"),
    path("wishes/<int:pk>/declined/", reviews.wish_decline, name="wish-decline"),
]
