// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"slices"
	"strings"
)

// titles are words by which a column of a list of people is titled, folded, in
// English, Spanish, French, Polish, Romanian and Portuguese.
var titles = map[Field][]string{
	FieldName: {
		"name", "full name", "person", "employee", "worker", "wearer", "employee name", "nombre completo", "nombre y apellidos", "apellidos y nombre",
		"empleado", "trabajador", "nom complet", "nom et prenom", "nom prenom", "salarie", "employe", "imie i nazwisko", "nazwisko i imie", "pracownik", "osoba",
		"nume complet", "nume si prenume", "numele si prenumele", "angajat", "salariat", "nome completo", "nome", "funcionario", "trabalhador", "colaborador",
	},
	FieldGiven: {
		"first name", "given name", "forename", "nombre", "prenom", "imie", "prenume", "prenumele", "primeiro nome", "nome proprio",
	},
	FieldFamily: {
		"last name", "surname", "family name", "apellido", "apellidos", "nom", "nom de famille", "nazwisko", "nume", "numele", "nume de familie",
		"apelido", "sobrenome", "ultimo nome",
	},
	FieldNumber: {
		"number", "no", "no.", "nr", "id", "company number", "employee number", "employee no", "employee id", "staff number", "staff no", "personnel number",
		"payroll number", "badge", "numero", "num", "n", "numero de empleado", "num empleado", "legajo", "matricula", "numero d'employe", "matricule",
		"numer", "numer pracownika", "nr pracownika", "nr ewidencyjny", "numar", "marca", "nr marca", "numar angajat", "numero de funcionario", "numero mecanografico",
	},
	FieldJob: {
		"job", "job title", "role", "position", "trade", "occupation", "puesto", "cargo", "oficio", "profesion", "poste", "metier", "fonction", "emploi",
		"stanowisko", "zawod", "praca", "functie", "functia", "post", "meserie", "ocupatie", "funcao", "profissao", "posto",
	},
	FieldLanguages: {
		"language", "languages", "idioma", "idiomas", "lengua", "langue", "langues", "jezyk", "jezyki", "limba", "limbi", "lingua", "linguas",
	},
	FieldFacepieces: {
		"facepiece", "facepieces", "respirator", "respirators", "mask", "masks", "mascara", "mascaras", "mascarilla", "mascarillas", "respirador",
		"respiradores", "masque", "masques", "maska", "maski", "polmaska", "masca", "masti", "semimasca", "rpe",
	},
	FieldRules: {"rules", "rule set", "standard", "reglas", "norma", "regles", "norme", "zasady", "przepisy", "reguli", "regras"},
	FieldAgent: {"agent", "agente", "test agent", "solution", "srodek", "substancja"},
	FieldNote:  {"note", "notes", "remark", "remarks", "comment", "comments", "nota", "notas", "observaciones", "remarque", "remarques", "uwagi", "uwaga", "notatki", "observatii", "mentiuni", "observacoes"},
}

// GuessMapping guesses from titles which column holds what. Each column is used
// once; a title that says nothing known is left to the person at the screen.
// Words that mean different things in two languages ("nombre", "nom", "nume")
// are read by their neighbours: alone they are the whole name.
func GuessMapping(header []string) Mapping {
	m := Mapping{}
	used := map[int]bool{}
	plain := make([]string, len(header))
	for i, h := range header {
		plain[i] = squeeze(strings.Map(func(r rune) rune {
			if strings.ContainsRune("_-:./()*#º°", r) {
				return ' '
			}
			return r
		}, h))
	}
	for _, f := range Fields() {
		for i, h := range plain {
			if _, done := m[f]; !done && !used[i] && h != "" && slices.Contains(titles[f], h) {
				m[f], used[i] = i, true
			}
		}
	}
	_, whole := m[FieldName]
	given, hasGiven := m[FieldGiven]
	family, hasFamily := m[FieldFamily]
	switch {
	case whole && !hasGiven && hasFamily && plain[m[FieldName]] != "name" && plain[m[FieldName]] != "nome": // a whole name and a word that says it again
		delete(m, FieldFamily)
	case whole && !hasGiven && hasFamily: // "nome, apelido"; "name, surname"
		m[FieldGiven] = m[FieldName]
		delete(m, FieldName)
	case whole && hasGiven: // "name, first name"
		if !hasFamily {
			m[FieldFamily] = m[FieldName]
		}
		delete(m, FieldName)
	case !whole && hasGiven && !hasFamily:
		delete(m, FieldGiven)
		m[FieldName] = given
	case !whole && hasFamily && !hasGiven:
		delete(m, FieldFamily)
		m[FieldName] = family
	}
	return m
}
