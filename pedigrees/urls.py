from django.urls import path

from pedigrees.views import cards, certificates, pedigree, planner, population, progeny, relation

urlpatterns = [
    path("animals/<int:pk>/pedigree/", pedigree.pedigree_detail, name="pedigree-detail"),
    path("animals/<int:pk>/progeny/", progeny.progeny_tree, name="progeny-tree"),
    path("related/", relation.relation, name="relation"),
    path("population/", population.population, name="population"),
    path("population/start/", population.population_start, name="population-start"),
    path("population/figures.csv", population.population_csv, name="population-csv"),
    path("animals/<int:pk>/certificate/", certificates.certificate_create, name="certificate-create"),
    path("certificates/", certificates.certificate_list, name="certificate-list"),
    path("certificates/<str:number>/", certificates.certificate_detail, name="certificate-detail"),
    path("certificates/<str:number>/certificate.pdf", certificates.certificate_file, name="certificate-file"),
    path("herds/<slug:slug>/cards/", cards.cage_cards, name="cage-cards"),
    path("herds/<slug:slug>/cards.pdf", cards.cage_cards_file, name="cage-cards-file"),
    path("herds/<slug:slug>/plan-matings/", planner.planner, name="planner"),
    path("herds/<slug:slug>/plan/", planner.plan, name="plan"),
    path("herds/<slug:slug>/plan/add/", planner.plan_add, name="plan-add"),
    path("planned/<int:pk>/note/", planner.plan_note, name="plan-note"),
    path("planned/<int:pk>/drop/", planner.plan_drop, name="plan-drop"),
    path("planned/<int:pk>/restore/", planner.plan_restore, name="plan-restore"),
]
